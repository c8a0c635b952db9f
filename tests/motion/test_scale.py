"""Whether rotation fits the rate that is stated, told from made-up scale errors."""

import numpy as np
import pytest

from imuproc.core.motion import SegmentMotion
from imuproc.core.sites import Site
from imuproc.motion.scale import flag_rate
from tests.usual import METHOD

SITES: tuple[Site, ...] = ("left_foot", "right_foot", "left_shank", "right_shank")


def moved(*scales: tuple[float, float] | None) -> dict[Site, SegmentMotion]:
    nothing = np.zeros((0, 3))
    return {
        site: SegmentMotion(
            site,
            np.zeros((0, 4)),
            np.zeros(0),
            np.zeros(0),
            np.zeros(0),
            nothing,
            nothing,
            np.zeros(3),
            gyro_scale=scale,
        )
        for site, scale in zip(SITES, scales, strict=False)
    }


def test_sensors_that_all_turn_too_little_tell_the_rate() -> None:
    (flag,) = flag_rate(
        moved((0.05, 0.004), (0.055, 0.004), (0.048, 0.004), (0.047, 0.004)),
        525,
        METHOD.motion.rate,
    )
    assert flag.name == "rate_differs"
    assert flag.values["off_pct"] == pytest.approx(5.0, abs=0.05)
    assert flag.values["rotation"] == "too small"
    assert (flag.values["fitting_hz"], flag.values["rate_hz"]) == pytest.approx(
        (500, 525), rel=1e-3
    )


def test_sensors_that_all_turn_too_much_tell_it_too() -> None:
    (flag,) = flag_rate(
        moved((-0.05, 0.004), (-0.06, 0.004), (-0.04, 0.004)), 500.0, METHOD.motion.rate
    )
    assert flag.values["rotation"] == "too large"


@pytest.mark.parametrize(
    "scales",
    [
        ((0.01, 0.004), (-0.01, 0.004), (0.02, 0.004), (0.0, 0.004)),
        ((0.30, 0.004), (0.0, 0.004), (0.001, 0.004), (-0.002, 0.004)),
        ((0.05, 0.05), (0.06, 0.06), (0.04, 0.06), (0.05, 0.05)),
        ((0.04, 0.005),),
        (None, None),
    ],
    ids=["as sold", "one sensor only", "hardly known", "a single sensor", "nothing known"],
)
def test_scale_errors_that_say_nothing_of_the_rate_raise_no_flag(
    scales: tuple[tuple[float, float] | None, ...],
) -> None:
    assert flag_rate(moved(*scales), 500.0, METHOD.motion.rate) == []
