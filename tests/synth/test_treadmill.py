"""Easy running, over ground and on a belt."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from imuproc.synth.long import make_long_motion
from imuproc.synth.plan import RunPlan, draw_steady_plan
from imuproc.synth.runs import (
    RunMotion,
    compute_motion_truth,
    make_motion,
    make_rig,
    simulate_motion,
)
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals

SPEED_MPS = 4.0
G = 9.80665


def plan(treadmill: bool) -> RunPlan:
    return draw_steady_plan(np.random.default_rng(3), SPEED_MPS, 30.0, treadmill)


@cache
def motion(treadmill: bool) -> RunMotion:
    return make_motion(plan(treadmill))


def test_the_athlete_stays_in_place_on_the_belt() -> None:
    over_ground, on_belt = motion(False).skin["pelvis"], motion(True).skin["pelvis"]
    assert np.ptp(over_ground.position_m[:, 0]) > 30.0
    assert np.ptp(on_belt.position_m[:, 0]) < 0.2


def test_a_standing_foot_goes_back_with_the_belt() -> None:
    made = motion(True)
    steady = [
        s
        for s in made.schedule.stances
        if s.kind == "run" and made.course.interpolate_speed(s.touchdown_s) > 0.9 * SPEED_MPS
    ]
    assert len(steady) > 8
    foot = made.skin["left_foot"]
    ball = foot.compute_point_m(np.array([made.plan.body.ball_from_heel_m, 0.0, 0.0]))[:, 0]
    for stance in (s for s in steady if s.side == "left"):
        t = stance.touchdown_s + np.array([0.35, 0.55]) * (stance.toe_off_s - stance.touchdown_s)
        at = np.interp(t, foot.time_s, ball)
        belt_mps = made.course.interpolate_speed(float(t.mean()))
        assert (at[1] - at[0]) / (t[1] - t[0]) == pytest.approx(-belt_mps, abs=0.25)


def test_belt_and_ground_differ_by_the_gain_of_speed_alone() -> None:
    """A frame that moves evenly feels no different; one that gains speed does."""
    mount = Mount(np.eye(3), np.zeros(3))
    over_ground, on_belt = (motion(b).skin["right_foot"] for b in (False, True))
    np.testing.assert_array_equal(over_ground.rotation, on_belt.rotation)
    force = [compute_ideal_signals(track, mount, G)[0] for track in (over_ground, on_belt)]
    world = np.einsum("nij,nj->ni", over_ground.rotation, force[0] - force[1])
    course = motion(True).course
    gain = np.gradient(course.speed_mps, course.time_s)
    np.testing.assert_allclose(world[5:-5, 0], gain[5:-5], atol=0.02)
    np.testing.assert_allclose(world[5:-5, 1:], 0.0, atol=1e-6)


def test_truth_is_that_of_the_ground_and_the_run_says_belt() -> None:
    over_ground, on_belt = (compute_motion_truth(motion(b)).steps for b in (False, True))
    np.testing.assert_array_equal(over_ground["step_length_m"], on_belt["step_length_m"])
    running = on_belt[on_belt["gait"] == "run"]
    assert running["speed_mps"].max() == pytest.approx(SPEED_MPS, rel=0.08)
    rng = np.random.default_rng(4)
    recording, _ = simulate_motion(motion(True), make_rig("ideal", 100.0, rng), rng)
    assert recording.run.surface == "treadmill"
    assert recording.run.belt_speed_mps == pytest.approx(SPEED_MPS, rel=0.08)


def test_easy_running_lands_heel_first_at_the_step_frequency_of_its_speed() -> None:
    steps = compute_motion_truth(motion(False)).steps
    fast = steps[(steps["gait"] == "run") & (steps["speed_mps"] > 0.9 * SPEED_MPS)]
    assert fast["foot_pitch_touchdown_deg"].mean() > 5.0
    assert fast["shin_angle_touchdown_deg"].mean() > 95.0
    # 2.82 Hz and 0.207 s at 4 m/s between the published values of the simulator's own table.
    assert fast["step_frequency_hz"].mean() == pytest.approx(2.82, abs=0.1)
    assert fast["contact_time_s"].mean() == pytest.approx(1.05 * 0.207, abs=0.015)


def test_what_cannot_be_made_is_refused() -> None:
    with pytest.raises(ValueError, match="a treadmill has no curve"):
        make_motion(replace(plan(True), curve_radius_m=36.0))
    with pytest.raises(ValueError, match="a steady run starts rolling, not with start 'blocks'"):
        make_motion(replace(plan(False), start="blocks"))
    with pytest.raises(ValueError, match="all of them straight over ground"):
        make_long_motion([plan(True)], 1)
