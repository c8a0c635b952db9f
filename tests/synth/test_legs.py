"""Motion of made-up legs: feet that obey the ground, poses that a sensor can follow."""

import numpy as np
import pytest

from imuproc.core.sites import SIDES, Side
from imuproc.synth.poses import PoseTrack
from imuproc.synth.stances import Stance
from tests.synth.made_runs import motion, truth


def running(side: Side) -> list[Stance]:
    """Running contacts of one foot after a block start."""
    return [s for s in motion().schedule.select_side(side) if s.kind == "run"]


def at(values: np.ndarray, track: PoseTrack, time_s: float) -> np.ndarray:
    """Samples at a time."""
    return np.array([np.interp(time_s, track.time_s, column) for column in values.T])


@pytest.mark.parametrize("side", SIDES)
def test_the_lowest_point_of_the_sole_meets_the_ground_at_touchdown(side: Side) -> None:
    body, foot = motion().plan.body, motion().bones[f"{side}_foot"]
    radius, width = body.sole_radius_m, body.ball_half_width_m
    edges = [np.array([body.ball_from_heel_m, s * width, radius]) for s in (-1.0, 1.0)]
    heels = [np.array([radius, 0.6 * s * width, radius]) for s in (-1.0, 1.0)]
    points = [foot.compute_point_m(p)[:, 2] - radius for p in (*edges, *heels)]
    for stance in running(side):
        lowest = min(np.interp(stance.touchdown_s, foot.time_s, p) for p in points)
        before = min(np.interp(stance.touchdown_s - 0.004, foot.time_s, p) for p in points)
        assert abs(lowest) < 0.001
        assert before > lowest + 0.0005


@pytest.mark.parametrize("side", SIDES)
def test_the_toes_press_until_toe_off_though_the_ball_has_left(side: Side) -> None:
    body, foot = motion().plan.body, motion().bones[f"{side}_foot"]
    ball = foot.compute_point_m(np.array([body.ball_from_heel_m, 0.0, body.sole_radius_m]))
    for stance in running(side):
        height = ball[:, 2] - body.sole_radius_m
        middle = 0.5 * (stance.touchdown_s + stance.toe_off_s)
        assert abs(np.interp(middle, foot.time_s, height)) < 0.008
        lags = (-0.012, 0.0, 0.012)
        early, lifted, late = (
            np.interp(stance.toe_off_s + lag, foot.time_s, height) for lag in lags
        )
        # The line from the ball to a toe tip on the ground is no longer than the toes.
        assert 0.004 < lifted < body.toe_m
        # It rises before the toes leave, and does not slow down then.
        assert lifted - early > 0.002
        assert late - lifted > 0.9 * (lifted - early)


@pytest.mark.parametrize("side", SIDES)
def test_the_instep_never_rests_in_a_sprint(side: Side) -> None:
    foot = motion().bones[f"{side}_foot"]
    instep = foot.compute_point_m(np.array([0.13, 0.0, 0.07]))
    speed = np.linalg.norm(np.gradient(instep, foot.time_s, axis=0), axis=1)
    for stance in running(side)[4:]:
        inside = (foot.time_s > stance.touchdown_s) & (foot.time_s < stance.toe_off_s)
        assert speed[inside].min() > 0.03
        assert np.median(speed[inside]) > 0.3


def test_shank_and_foot_share_the_ankle_and_the_thigh_keeps_its_length() -> None:
    run = motion()
    body, course = run.plan.body, run.course
    effort = (course.time_s > course.exit_s) & (course.time_s < course.effort_end_s)
    for side, out in (("left", 1.0), ("right", -1.0)):
        shank, foot = run.bones[f"{side}_shank"], run.bones[f"{side}_foot"]
        ankle = foot.compute_point_m(np.array([body.ankle_from_heel_m, 0.0, body.ankle_height_m]))
        np.testing.assert_allclose(shank.position_m, ankle, atol=1e-12)
        hip = run.bones["pelvis"].compute_point_m(np.array([0.0, out * body.hip_half_width_m, 0.0]))
        thigh = np.linalg.norm(
            shank.compute_point_m(np.array([0.0, 0.0, body.shank_m])) - hip, axis=1
        )
        assert np.percentile(np.abs(thigh[effort] / body.thigh_m - 1.0), 95) < 0.16


def test_rates_are_those_of_a_sprint() -> None:
    # 900 to 1300 deg/s peak shank rate in a sprint: 1260 at 9.5 m/s in the open data of Dorn,
    # Schache & Pandy 2012; foot pitch passes -90 in early swing.
    curves = truth().curves
    time_s = curves["time_s"].to_numpy()
    for side in SIDES:
        shin = np.gradient(curves[f"shin_angle_{side}_deg"], time_s)
        pitch = np.gradient(curves[f"foot_pitch_{side}_deg"], time_s)
        assert 800.0 < shin.max() < 1500.0
        assert -1900.0 < pitch.min() < -900.0
        assert -135.0 < curves[f"foot_pitch_{side}_deg"].min() < -95.0


def test_velocity_and_acceleration_do_not_jump_away_from_touchdown() -> None:
    run = motion()
    time_s = run.course.time_s
    impact = np.zeros(len(time_s), dtype=bool)
    for stance in run.schedule.stances:
        impact |= (time_s > stance.touchdown_s - 0.01) & (time_s < stance.touchdown_s + 0.06)
    for site in ("left_shank", "left_foot", "right_shank", "right_foot"):
        point = run.bones[site].compute_point_m(np.array([0.1, 0.0, 0.1]))
        acceleration = np.gradient(np.gradient(point, time_s, axis=0), time_s, axis=0)
        jump = np.abs(np.diff(acceleration, axis=0)).max(axis=1)[~impact[1:]]
        assert jump.max() < 40.0  # m/s² from one sample (0.5 ms) to the next


def test_standing_is_the_zero_and_differs_a_little_afterwards() -> None:
    run = motion()
    curves = truth().curves
    before = curves["time_s"] < run.plan.stand_before_s - 0.2
    after = curves["time_s"] > run.course.stop_s + 1.2
    for side in SIDES:
        shin = curves[f"shin_angle_{side}_deg"]
        assert shin[before].mean() == pytest.approx(90.0, abs=0.05)
        assert 0.02 < shin[before].std() < 0.6
        assert 0.1 < abs(shin[after].mean() - 90.0) < 1.6
        assert curves[f"foot_pitch_{side}_deg"][before].abs().max() < 0.01


def test_the_sink_into_set_is_slow_and_the_hold_nearly_still() -> None:
    run = motion()
    curves = truth().curves
    time_s = curves["time_s"].to_numpy()
    rates = [np.gradient(curves[f"shin_angle_{side}_deg"], time_s) for side in SIDES]
    sinking = (time_s > run.course.set_s - 1.1) & (time_s < run.course.set_s - 0.2)
    held = (time_s > run.course.set_s + 0.1) & (time_s < run.course.go_s - 0.1)
    assert 1.0 < max(np.abs(rate[sinking]).max() for rate in rates) < 25.0
    assert max(np.abs(rate[held]).max() for rate in rates) < 1.0
