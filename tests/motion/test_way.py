"""Direction of the way, against ways that can be counted by hand."""

import numpy as np
import pytest

from imuproc.motion.way import find_bend_of_way
from tests.usual import METHOD

TIME_S = 5.0 + np.arange(0.0, 5.0, 0.002)
STANCE_S = np.arange(5.5, 9.5, 0.45)


def moving(heading_rad: np.ndarray, aside_m: float = 0.0) -> np.ndarray:
    """A foot that stands and flies in turn, 8 m/s on average, set down aside now and then."""
    pace = 8.0 * (1.0 - np.cos(2.0 * np.pi * (TIME_S - STANCE_S[0]) / 0.45))
    swing = aside_m * np.where(np.floor((TIME_S - STANCE_S[0]) / 0.45) % 2 == 0, 1.0, -1.0)
    aside = swing * (1.0 - np.cos(2.0 * np.pi * (TIME_S - STANCE_S[0]) / 0.45)) / 0.45
    ahead, left = np.cos(heading_rad), np.sin(heading_rad)
    return np.stack(
        (pace * ahead - aside * left, pace * left + aside * ahead, 0.0 * TIME_S), axis=1
    )


def test_around_a_circle_the_way_turns_by_speed_over_radius() -> None:
    """8 m/s on a radius of 36 m: 8 / 36 rad/s."""
    true = 8.0 / 36.0 * (TIME_S - 7.5)
    found = find_bend_of_way(TIME_S, moving(true), STANCE_S, METHOD.motion.straight_deg)
    inside = (STANCE_S[0] < TIME_S) & (STANCE_S[-1] > TIME_S)
    np.testing.assert_allclose(found[inside], true[inside], atol=np.radians(0.2))


@pytest.mark.parametrize("aside_m", [0.0, 0.05])
def test_a_straight_way_does_not_bend_however_the_feet_are_set(aside_m: float) -> None:
    assert not find_bend_of_way(
        TIME_S, moving(0.0 * TIME_S, aside_m), STANCE_S, METHOD.motion.straight_deg
    ).any()


def test_few_stances_tell_nothing() -> None:
    turning = moving(8.0 / 36.0 * (TIME_S - 7.5))
    assert not find_bend_of_way(TIME_S, turning, STANCE_S[:3], METHOD.motion.straight_deg).any()
