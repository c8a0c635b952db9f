"""The foot's heel-to-toe line, read from the heel's rise, against feet that turn as told."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.recording import Conditioned
from imuproc.core.sites import Side
from imuproc.motion.foot_axis import find_heel_rise_turn
from imuproc.motion.settings import MotionSettings
from tests.estimators.made_motion import TIME_S, conditioned, steady

STEPS = steady("left", 0.25, 0.15, 12)
USUAL = MotionSettings()
ALIKE = MotionSettings(heel_rise_toe_out_deg=0.0, heel_rise_toe_out_u_deg=4.0)


def foot(side: Side, axis_out_deg: float, axis_u_deg: float = 4.0) -> Conditioned:
    """A foot that rolls in swing, and in stance turns only about an axis of its own."""
    own = STEPS.take(STEPS.side == side)
    inside = (TIME_S[:, None] >= own.touchdown_s) & (TIME_S[:, None] < own.toe_off_s)
    stance = inside.any(axis=1)
    out = np.radians(axis_out_deg) * (1.0 if side == "left" else -1.0)
    # Turning toe down is a positive rate about the axis that points to the left.
    rise = 8.0 * np.array([-np.sin(out), np.cos(out), 0.0])
    made = conditioned().segments[f"{side}_foot"]
    calibration = replace(made.calibration, axis_u_rad=float(np.radians(axis_u_deg)))
    gyro = np.where(stance[:, None], rise, np.array([20.0, 3.0, 1.0]))
    return replace(made, gyro_radps=gyro, calibration=calibration)


def turn_deg(segment: Conditioned, settings: MotionSettings, side: Side = "left") -> float:
    own = STEPS.take(STEPS.side == side)
    return float(np.degrees(find_heel_rise_turn(segment, TIME_S, own, side, settings)))


@pytest.mark.parametrize("side", ["left", "right"])
def test_two_readings_that_are_alike_meet_in_the_middle(side: Side) -> None:
    outward = 1.0 if side == "left" else -1.0
    found = turn_deg(foot(side, 6.0), ALIKE, side)
    assert found == pytest.approx(outward * 3.0, abs=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_usual_offset_is_taken_outward_on_both_sides(side: Side) -> None:
    settings = MotionSettings(heel_rise_toe_out_deg=-3.2, heel_rise_toe_out_u_deg=4.0)
    assert turn_deg(foot(side, 3.2), settings, side) == pytest.approx(0.0, abs=1e-6)


def test_a_line_that_is_known_well_is_hardly_turned() -> None:
    assert abs(turn_deg(foot("left", 20.0, axis_u_deg=0.4), ALIKE)) < 0.25


def test_a_foot_without_an_axis_of_its_own_is_left_as_it_is() -> None:
    still = foot("left", 6.0)
    rng = np.random.default_rng(3)
    shaken = replace(still, gyro_radps=rng.normal(size=still.gyro_radps.shape))
    assert turn_deg(shaken, USUAL) == 0.0
    no_steps = STEPS.take(np.zeros(len(STEPS), dtype=bool))
    assert find_heel_rise_turn(still, TIME_S, no_steps, "left", USUAL) == 0.0


def test_missing_and_clipped_samples_do_not_count() -> None:
    clean = foot("left", 6.0)
    bad = np.arange(len(TIME_S)) % 2 == 0
    spoiled = replace(
        clean,
        gyro_radps=np.where(bad[:, None], np.array([30.0, 0.0, 0.0]), clean.gyro_radps),
        measured=clean.measured & ~(bad & (TIME_S < 12.0)),
        gyro_clipped=clean.gyro_clipped | (bad & (TIME_S >= 12.0)),
    )
    assert turn_deg(spoiled, ALIKE) == pytest.approx(3.0, abs=1e-6)
