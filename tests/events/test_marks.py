"""Marks of events in signals that were made by formula."""

import numpy as np
import pytest
from numpy.typing import NDArray

from imuproc.events.leg_signals import LegSignals
from imuproc.events.marks import Between, find_toe_off_marks, find_touchdown_marks
from tests.usual import METHOD

FloatArray = NDArray[np.float64]

TIME_S = np.arange(0.0, 1.0, 0.002)
CYCLE = Between(swing=50, slowed=100, rise=350)
"""Swing at 0.1 s, slowed at 0.2 s, next swing begins at 0.7 s."""


def bump(centre_s: float, width_s: float, height: float) -> FloatArray:
    return height * np.exp(-0.5 * ((TIME_S - centre_s) / width_s) ** 2)


def ramp(start_s: float, end_s: float) -> FloatArray:
    return np.clip((TIME_S - start_s) / (end_s - start_s), 0.0, 1.0)


def leg(
    jerk: FloatArray | None = None,
    axial: FloatArray | None = None,
    push: FloatArray | None = None,
    foot_turn: FloatArray | None = None,
    turn: FloatArray | None = None,
    slow_jerk: FloatArray | None = None,
    shock: FloatArray | None = None,
) -> LegSignals:
    flat = np.zeros_like(TIME_S)
    jerk = bump(0.25, 0.02, 100.0) if jerk is None else jerk
    return LegSignals(
        side="left",
        rate_hz=500.0,
        time_s=TIME_S,
        swing_radps=flat,
        turn_radps=flat if turn is None else turn,
        jerk_mps3=jerk,
        slow_jerk_mps3=bump(0.25, 0.03, 50.0) if slow_jerk is None else slow_jerk,
        shock_mps3=flat if shock is None else shock,
        axial_mps2=axial,
        push_mps2=push,
        foot_turn_radps=foot_turn,
    )


def test_the_rise_of_the_jerk_is_timed_between_samples() -> None:
    marks = find_touchdown_marks(leg(jerk=100.0 * ramp(0.2411, 0.2611)), CYCLE, METHOD.coarse.marks)
    assert marks.jerk_onset_s == pytest.approx(0.2411 + 0.25 * 0.02, abs=2e-4)
    assert marks.jerk_half_s == pytest.approx(0.2411 + 0.5 * 0.02, abs=2e-4)
    assert marks.jerk_mps3 == pytest.approx(100.0)
    assert marks.cycle_s == pytest.approx(0.5)


def test_sharpness_is_the_jerk_over_that_of_slow_motion() -> None:
    assert find_touchdown_marks(leg(), CYCLE, METHOD.coarse.marks).impact_ratio == pytest.approx(
        2.0
    )


def test_a_shock_is_timed_at_its_first_large_rise() -> None:
    rings = 100.0 * ramp(0.24, 0.25) * (1.0 - ramp(0.25, 0.254)) + 120.0 * ramp(0.254, 0.258)
    marks = find_touchdown_marks(leg(shock=1.0 + rings), CYCLE, METHOD.coarse.marks)
    assert marks.shock_s == pytest.approx(0.24 + 0.0084, abs=5e-4)
    assert marks.shock_ratio == pytest.approx(121.0)


def test_where_nothing_moves_there_is_no_impact() -> None:
    flat = np.zeros_like(TIME_S)
    marks = find_touchdown_marks(
        leg(jerk=flat, slow_jerk=flat, shock=flat), CYCLE, METHOD.coarse.marks
    )
    assert marks.impact_ratio == 0.0
    assert marks.shock_ratio == 0.0
    assert np.isnan(marks.shock_s)


def test_a_shake_of_the_swing_or_of_push_off_is_no_touchdown() -> None:
    shaken = bump(0.25, 0.01, 100.0) + bump(0.15, 0.01, 150.0) + bump(0.5, 0.01, 300.0)
    assert find_touchdown_marks(
        leg(jerk=shaken), CYCLE, METHOD.coarse.marks
    ).jerk_half_s == pytest.approx(0.238, abs=0.003)


def test_the_loading_of_the_shank_is_seen_with_a_shank_sensor_only() -> None:
    loading = 10.0 + 30.0 * ramp(0.25, 0.28)
    marks = find_touchdown_marks(leg(axial=loading), CYCLE, METHOD.coarse.marks)
    assert marks.axial_rise_s == pytest.approx(0.25 + 0.35 * 0.03, abs=1e-3)
    assert np.isnan(find_touchdown_marks(leg(), CYCLE, METHOD.coarse.marks).axial_rise_s)


def foot_push(off_s: float) -> tuple[FloatArray, FloatArray]:
    """Force off the sole that ends at an instant, and the turn of the foot before it."""
    force = 10.0 + 30.0 / (1.0 + np.exp((TIME_S - off_s) / 0.008)) + bump(0.75, 0.04, 40.0)
    return force, -bump(off_s - 0.02, 0.05, 12.0)


@pytest.mark.parametrize("off_s", [0.47, 0.5013, 0.55])
def test_push_off_is_where_the_force_falls_fastest(off_s: float) -> None:
    force, turn = foot_push(off_s)
    marks = find_toe_off_marks(leg(push=force, foot_turn=turn), CYCLE, METHOD.coarse.marks)
    assert marks.push_off_s == pytest.approx(off_s, abs=5e-4)
    assert marks.foot_turn_s == pytest.approx(off_s - 0.02, abs=2e-3)


def test_a_force_that_does_not_fall_marks_nothing() -> None:
    _, turn = foot_push(0.5)
    rising = 10.0 + 100.0 * ramp(0.3, 0.7)
    marks = find_toe_off_marks(leg(push=rising, foot_turn=turn), CYCLE, METHOD.coarse.marks)
    assert np.isnan(marks.push_off_s)
    assert np.isfinite(marks.foot_turn_s)


def test_a_foot_that_never_pushes_marks_nothing() -> None:
    marks = find_toe_off_marks(
        leg(push=bump(0.3, 0.1, 10.0), foot_turn=bump(0.5, 0.1, 3.0)), CYCLE, METHOD.coarse.marks
    )
    assert np.isnan(marks.push_off_s)
    assert np.isnan(marks.foot_turn_s)


def test_the_first_of_two_turns_is_the_push() -> None:
    force, turn = foot_push(0.5)
    twice = np.minimum(turn, -bump(0.58, 0.02, 13.0))
    marks = find_toe_off_marks(leg(push=force, foot_turn=twice), CYCLE, METHOD.coarse.marks)
    assert marks.foot_turn_s == pytest.approx(0.48, abs=2e-3)


def test_the_shank_marks_half_of_its_fold_back() -> None:
    # From its recovery at -1 rad/s down to -9 rad/s between 0.5 and 0.56 s.
    turn = -1.0 - 4.0 * (1.0 - ramp(0.2, 0.45)) - 8.0 * ramp(0.5, 0.56)
    marks = find_toe_off_marks(
        leg(axial=np.zeros_like(TIME_S), turn=turn), CYCLE, METHOD.coarse.marks
    )
    assert marks.shank_off_s == pytest.approx(0.53, abs=1e-3)
    assert np.isnan(marks.push_off_s)


def test_a_shank_that_does_not_fold_back_marks_nothing() -> None:
    marks = find_toe_off_marks(
        leg(axial=np.zeros_like(TIME_S), turn=ramp(0.0, 1.0)), CYCLE, METHOD.coarse.marks
    )
    assert np.isnan(marks.shank_off_s)
