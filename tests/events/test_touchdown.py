"""Touchdown from its marks: no cliff, and doubt where marks disagree."""

import numpy as np
import pytest
from numpy.typing import NDArray

from imuproc.events.landing import MOST_CANDIDATES
from imuproc.events.touchdown import TouchdownSettings, find_touchdowns
from tests.usual import METHOD

FloatArray = NDArray[np.float64]
SETTINGS = TouchdownSettings()
SAMPLE_S = 0.002


def evidence(
    ball_s: tuple[float, ...] = (1.0,), hardness: tuple[float, ...] = (1.0,), **given: float
) -> dict[str, FloatArray]:
    """Marks of one contact of a ball; what is not named is missing."""
    usual: dict[str, float] = {
        "heel_s": np.nan,
        "heel_weight": 0.0,
        "heel_down_s": np.nan,
        "shock_s": np.nan,
        "shock_ratio": 0.0,
        "axial_rise_s": np.nan,
        "jerk_half_s": np.nan,
    }
    for k in range(MOST_CANDIDATES):
        there = k < len(ball_s)
        usual[f"ball_s_{k}"] = ball_s[k] if there else np.nan
        usual[f"hardness_{k}"] = hardness[k] if there else np.nan
        usual[f"fall_mps_{k}"] = 2.0 if there else np.nan
        usual[f"stop_s_{k}"] = 0.015 if there else np.nan
    return {name: np.array([value]) for name, value in {**usual, **given}.items()}


def touchdown(**given: object) -> tuple[float, float]:
    """Instant and standard uncertainty in s."""
    found, _ = find_touchdowns(evidence(**given), SAMPLE_S, 0.018, SETTINGS, METHOD.fusion)  # type: ignore[arg-type]
    return float(found.time_s[0]), float(found.u_s[0])


def test_the_foots_own_mark_alone_is_taken() -> None:
    at_s, u_s = touchdown()
    assert at_s == pytest.approx(1.0)
    assert 0.002 < u_s < 0.005


@pytest.mark.parametrize("ratio", [4.0, 8.0, 15.0, 40.0])
def test_touchdown_does_not_jump_as_a_shock_moves_away(ratio: float) -> None:
    """A quarter of a ms more between shock and arrest never moves the instant by a whole one."""
    early_s = np.arange(0.0, 0.05, 0.00025)
    found = np.array([touchdown(shock_s=1.0 - e, shock_ratio=ratio) for e in early_s])
    assert np.abs(np.diff(found[:, 0])).max() < 0.001
    assert np.abs(np.diff(found[:, 1])).max() < 0.008


def test_a_clear_shock_wins_over_an_arrest_that_comes_much_later() -> None:
    """Shock 15 times the quiet: the ball's arrest 26 ms later is the sinking of the heel."""
    for late_s in (0.020, 0.026, 0.040):
        at_s, u_s = touchdown(shock_s=1.0 - late_s, shock_ratio=15.0)
        assert at_s == pytest.approx(1.0 - late_s, abs=0.004)
        assert abs(at_s - (1.0 - late_s)) < 2.0 * u_s


def test_a_shake_that_hardly_stands_out_changes_little() -> None:
    at_s, _ = touchdown(shock_s=0.97, shock_ratio=2.5)
    assert at_s == pytest.approx(1.0, abs=0.002)


def test_marks_that_cannot_both_be_right_leave_at_least_half_their_distance() -> None:
    at_s, u_s = touchdown(shock_s=1.04, shock_ratio=15.0)
    assert u_s >= 0.5 * 0.04 - 0.001
    assert abs(at_s - 1.04) < 2.0 * u_s
    assert abs(at_s - 1.0) < 2.0 * u_s


def test_of_two_stops_that_is_taken_which_other_marks_bear_out() -> None:
    two = {"ball_s": (0.97, 1.0), "hardness": (1.0, 0.9)}
    assert touchdown(**two, jerk_half_s=0.998)[0] == pytest.approx(1.0, abs=0.004)
    assert touchdown(**two, jerk_half_s=0.968)[0] == pytest.approx(0.97, abs=0.004)
    _, alone_u_s = touchdown(**two)
    assert alone_u_s > 0.012  # nothing decides between them


def test_a_heel_that_may_have_landed_softly_before_makes_the_balls_arrest_doubtful() -> None:
    _, level_u_s = touchdown()
    _, soft_u_s = touchdown(heel_down_s=0.97)
    assert soft_u_s > 0.012 > level_u_s


def test_a_load_of_the_shank_far_away_costs_only_its_weight() -> None:
    at_s, u_s = touchdown(axial_rise_s=0.95)
    assert at_s == pytest.approx(1.0, abs=0.002)
    assert u_s < 0.008
