"""Gaps in fast motion: what lies on the other side of the run's larger part is not used."""

import numpy as np
import pytest

from imuproc.conditioning.dropouts import UnbrokenPart, find_unbroken_part, list_dropout_flags
from imuproc.conditioning.timebase import to_common_clock
from imuproc.core.recording import Interval
from tests.conditioning.made_up import make_log, make_recording
from tests.usual import METHOD, ON_CLOCK

RATE_HZ = 500.0
clock_s = np.arange(2500) / RATE_HZ
RUN = Interval(1.0, 4.0)


def part_with(*gaps_s: tuple[float, float], size: float = 1.0) -> UnbrokenPart:
    """What is left of 5 s of fast motion; ``size`` is a share of some 600 deg/s."""
    log = make_log(clock_s)
    log.gyro_radps[:] *= size
    kept = np.ones(len(clock_s), dtype=bool)
    for start_s, end_s in gaps_s:
        kept &= (clock_s < start_s) | (clock_s >= end_s)
    based = to_common_clock(make_recording(log.take(kept)), *ON_CLOCK)
    return find_unbroken_part(
        based.sites["left_shank"], based.time_s, based.rate_hz, RUN, METHOD.calibration.tears
    )


@pytest.mark.parametrize(
    ("gap_s", "span_s"),
    [((3.6, 4.0), (0.0, 3.6)), ((0.7, 1.2), (1.2, 5.0)), ((4.3, 4.8), (0.0, 4.3))],
    ids=["late", "early", "after"],
)
def test_the_larger_part_of_a_run_is_kept(
    gap_s: tuple[float, float], span_s: tuple[float, float]
) -> None:
    part = part_with(gap_s)
    assert (part.span.start_s, part.span.end_s) == pytest.approx(span_s, abs=0.006)
    inside = (part.span.start_s <= clock_s) & (part.span.end_s >= clock_s)
    assert np.isfinite(part.signals.gyro_radps[inside]).all()
    assert not part.signals.measured[~inside].any()
    assert np.isnan(part.signals.accel_mps2[~inside]).all()
    ((flag,), left_out) = list_dropout_flags({"left_shank": part})
    assert (flag.name, flag.site, left_out) == ("gap", "left_shank", {})
    assert flag.values["lost_s"] == pytest.approx(gap_s[1] - gap_s[0], abs=0.005)
    used_s = flag.values["used_from_s"], flag.values["used_to_s"]
    assert used_s == pytest.approx(span_s, abs=0.006)


@pytest.mark.parametrize(
    "part", [part_with(), part_with((2.0, 2.01)), part_with((2.0, 2.4), size=0.02)]
)
def test_a_gap_that_hides_little_parts_nothing(part: UnbrokenPart) -> None:
    assert (part.span.start_s, part.span.end_s) == pytest.approx((0.0, 5.0), abs=0.005)
    assert list_dropout_flags({"left_shank": part}) == ([], {})


def test_a_sensor_without_most_of_the_run_is_left_out_unless_all_are() -> None:
    half, whole = part_with((2.3, 2.7)), part_with()
    used, left_out = list_dropout_flags({"left_shank": whole, "left_foot": half})
    assert used == []
    values = left_out["left_foot"].values
    assert values == {"lost_s": pytest.approx(0.4, abs=0.005), "left_out": True}
    used, left_out = list_dropout_flags({"left_shank": half, "left_foot": half, "pelvis": whole})
    assert {flag.site for flag in used} == {"left_shank", "left_foot"}
    assert left_out == {}
