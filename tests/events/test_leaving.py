"""Toe-off by the foot's motion: a foot that rolls off about known points."""

import numpy as np
import pytest

from imuproc.core.motion import SegmentMotion
from imuproc.dsp.rotations import quat_from_rotvec
from imuproc.events.foot_points import FootGeometry, track_foot_points
from imuproc.events.leaving import Leaving, LeavingSettings, find_leaving, measure_roll_ahead_m

SETTINGS = LeavingSettings()
RATE_HZ = 1000.0
TIME_S = np.arange(1200) / RATE_HZ
DOWN_S, OFF_S = 0.4, 0.6
LEVER_M = np.array([0.05, 0.0, -0.06])


def rolling(ahead_m: float, rises_mps2: float = 60.0) -> SegmentMotion:
    """A foot whose heel rises from 0.5 s on, about a point ahead of the ball's pivot; that point
    itself rises evenly faster from 0.58 s on."""
    since = np.maximum(TIME_S - 0.5, 0.0)
    pitch = -0.5 * 40.0 * since**2
    rate = -40.0 * since
    zero = np.zeros(len(TIME_S))
    quat = quat_from_rotvec(np.stack((zero, -pitch, zero), axis=1))
    turn = np.stack((zero, -rate, zero), axis=1)
    # World place of the sensor from the turning point: the rotation about y of -(lever + ahead).
    x, z = -(LEVER_M[0] + ahead_m), -LEVER_M[2]
    c, s = np.cos(pitch), np.sin(pitch)
    place = np.stack((c * x - s * z, zero, s * x + c * z), axis=1)
    velocity = np.gradient(place, TIME_S, axis=0)
    velocity[:, 2] += rises_mps2 * np.maximum(TIME_S - 0.58, 0.0)
    return SegmentMotion(
        site="left_foot",
        quat_wxyz=quat,
        pitch_rad=pitch,
        pitch_rate_radps=rate,
        pitch_u_rad=zero,
        rate_world_radps=turn,
        velocity_mps=velocity,
        lever_m=LEVER_M,
    )


@pytest.mark.parametrize("ahead_m", [0.01, 0.03, 0.05])
def test_the_point_about_which_a_foot_rolls_off_is_found(ahead_m: float) -> None:
    foot = rolling(ahead_m, rises_mps2=0.0)
    found = measure_roll_ahead_m(TIME_S, foot, np.array([[DOWN_S, OFF_S]]), SETTINGS)
    assert found == pytest.approx(ahead_m, abs=0.001)


def test_without_contacts_nothing_is_known_of_the_roll() -> None:
    assert np.isnan(measure_roll_ahead_m(TIME_S, rolling(0.03), np.empty((0, 2)), SETTINGS))


def test_what_no_foot_has_is_held_within_bounds() -> None:
    foot = rolling(0.25, rises_mps2=0.0)
    found = measure_roll_ahead_m(TIME_S, foot, np.array([[DOWN_S, OFF_S]]), SETTINGS)
    assert found == SETTINGS.most_roll_m


def leaving(speed_mps: float = 6.0) -> Leaving:
    foot = rolling(0.06, rises_mps2=60.0)
    points = track_foot_points(TIME_S, foot, "left", (0.06, 0.0, 0.0), FootGeometry())
    return find_leaving(points, DOWN_S, OFF_S, speed_mps, SETTINGS)


def test_the_toes_are_gone_some_ms_after_they_rise_with_their_share_of_speed() -> None:
    """60 m/s2 from 0.58 s on reach 0.72 m/s, 12 % of 6 m/s, after 12 ms."""
    found = leaving()
    assert found.toe_s == pytest.approx(0.592 + SETTINGS.toe_lag_s, abs=0.002)
    assert found.toe_growth_mps2 == pytest.approx(60.0, rel=0.2)


def test_a_faster_run_has_its_toes_gone_later_on_the_same_rise() -> None:
    assert leaving(9.0).toe_s - leaving(6.0).toe_s == pytest.approx(0.006, abs=0.001)


def test_without_a_running_speed_the_lift_of_the_ball_remains() -> None:
    found = leaving(np.nan)
    assert np.isnan(found.toe_s)
    assert np.isfinite(found.lift_s)
    assert found.lift_mps > 0.0
