"""A sensor that lacks much of a run is left out of it; the others are not concerned."""

import numpy as np
import pytest

from imuproc.conditioning.timebase import TimeBased, to_common_clock
from imuproc.conditioning.usable import drop_missing_sensors
from imuproc.core.recording import Interval
from tests.conditioning.made_up import make_log, make_recording
from tests.usual import METHOD, ON_CLOCK

RUN = Interval(1.0, 4.0)


def based(**ends_s: float) -> TimeBased:
    """Sensors whose logs end at these instants; one that is stuck from then on is the same."""
    time_s = np.arange(2500) / 500.0
    logs = [make_log(time_s[time_s <= end_s], site=site) for site, end_s in ends_s.items()]
    return to_common_clock(make_recording(*logs), *ON_CLOCK)


def test_a_sensor_without_the_second_half_of_a_run_is_left_out_and_said() -> None:
    kept = drop_missing_sensors(
        based(left_shank=5.0, left_foot=2.5), RUN, METHOD.calibration.tears.missing_share
    )
    assert list(kept.sites) == ["left_shank"]
    flag = kept.flags[-1]
    assert (flag.name, flag.site) == ("gap", "left_foot")
    assert flag.values == {"missing_s": pytest.approx(1.5, abs=0.005), "left_out": True}
    assert flag.span_s == pytest.approx((2.5, 4.0), abs=0.005)


def test_a_sensor_that_lacks_little_of_a_run_stays() -> None:
    given = based(left_shank=5.0, left_foot=3.5)
    assert (
        drop_missing_sensors(given, RUN, METHOD.calibration.tears.missing_share).sites
        == given.sites
    )


def test_where_all_would_go_all_stay() -> None:
    given = based(pelvis=5.0, left_shank=2.0, left_foot=2.0)
    assert drop_missing_sensors(given, RUN, METHOD.calibration.tears.missing_share) is given
