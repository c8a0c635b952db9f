"""Made-up recordings and their truth."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.columns import BY_NAME
from imuproc.dsp.integration import cumulative_integral, integrate_gyro
from imuproc.dsp.rotations import quat_from_matrix, quat_rotate, quat_to_matrix
from imuproc.estimators.body_line import BODY_LINE
from imuproc.synth.plan import Fault
from imuproc.synth.poses import PoseTrack
from imuproc.synth.runs import (
    compute_motion_truth,
    make_motion,
    make_rig,
    record_motion,
    simulate_run,
)
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals
from imuproc.synth.sensors.imperfect import GRADES
from tests.synth.made_runs import athlete, motion, truth

STARTS = ("blocks", "three-point", "crouch", "standing", "rolling")


def integrated(track: PoseTrack, mount: Mount) -> tuple[np.ndarray, np.ndarray]:
    """Largest angle (deg) and distance (m) between the pose and its integrated ideal signals."""
    gravity = 9.80665
    accel, gyro = compute_ideal_signals(track, mount, gravity)
    quat = integrate_gyro(gyro, track.rate_hz, quat_from_matrix(track.rotation[0]))
    turn = np.swapaxes(quat_to_matrix(quat), 1, 2) @ track.rotation
    cosine = np.clip((np.trace(turn, axis1=1, axis2=2) - 1.0) / 2.0, -1.0, 1.0)
    place = track.compute_point_m(mount.position_m)
    start_mps = np.gradient(place[:3], track.time_s[:3], axis=0, edge_order=2)[0]
    world = quat_rotate(quat, accel) - np.array([0.0, 0.0, gravity])
    velocity = start_mps + cumulative_integral(world, track.rate_hz)
    path = place[0] + cumulative_integral(velocity, track.rate_hz)
    return np.degrees(np.arccos(cosine)), np.linalg.norm(path - place, axis=1)


@pytest.mark.parametrize("site", ["left_shank", "right_foot", "pelvis"])
def test_integrating_ideal_signals_returns_the_pose(site: str) -> None:
    mount = Mount(np.eye(3), np.array([0.05, 0.02, 0.2]))
    angle_deg, distance_m = integrated(motion().skin[site], mount)  # type: ignore[index]
    assert angle_deg.max() < 0.02
    assert distance_m.max() < 0.005


@pytest.mark.parametrize("start", STARTS)
def test_every_start_gives_a_plausible_step_table(start: str) -> None:
    steps = truth(start).steps  # type: ignore[arg-type]
    running = steps[steps["gait"] == "run"]
    assert len(running) > 12
    assert running["step"].is_monotonic_increasing
    for name in set(BY_NAME) & set(steps):
        column = BY_NAME[name]
        # Feet and shanks of the last steps before standing are made without asking the hips.
        rows = running.iloc[:-7] if name in BODY_LINE else running
        values = rows[name].dropna() if column.kind == "figure" else []
        assert all(column.low < v < column.high for v in values), name
    inside = running["touchdown_s"].between(truth(start).valid_from_s, truth(start).valid_to_s)  # type: ignore[arg-type]
    assert inside.all()


@pytest.mark.parametrize(
    ("fault", "figure", "change"),
    [
        ("toe-drop", "dorsiflexion_swing_mean_deg", -12.0),
        ("reaching", "shin_angle_touchdown_deg", 10.0),
        ("early-upright", "shin_angle_touchdown_deg", 6.0),
    ],
)
def test_faults_show_in_the_truth(fault: Fault, figure: str, change: float) -> None:
    sound, faulty = truth(), truth("blocks", (fault,))
    first = slice(0, 6)
    difference = faulty.steps[figure][first].mean() - sound.steps[figure][first].mean()
    assert difference * np.sign(change) > 0.6 * abs(change)


def test_the_first_swing_of_each_foot_is_defined() -> None:
    found = truth()
    first = found.steps.iloc[:2]
    assert set(found.departures_s) == {"left", "right"}
    for _, step in first.iterrows():
        assert found.departures_s[step["side"]] < step["touchdown_s"]
    assert np.isfinite(first["dorsiflexion_swing_mean_deg"]).all()


def test_step_length_is_that_of_the_poses() -> None:
    run, steps = motion(), truth().steps
    body = run.plan.body
    place = []
    for _, step in steps[:8].iterrows():
        foot = run.bones[f"{step['side']}_foot"]  # type: ignore[index]
        ball = foot.compute_point_m(np.array([body.ball_from_heel_m, 0.0, body.sole_radius_m]))
        middle = step["touchdown_s"] + 0.4 * step["contact_time_s"]
        place.append(np.interp(middle, foot.time_s, ball[:, 0]))
    np.testing.assert_allclose(np.diff(place), steps["step_length_m"][:7], atol=0.012)


def test_a_recording_has_its_logs_and_is_the_same_again() -> None:
    first, _ = simulate_run(athlete(), "mid", 500.0, np.random.default_rng(3))
    again, _ = simulate_run(athlete(), "mid", 500.0, np.random.default_rng(3))
    assert list(first.logs) == ["left_shank", "left_foot", "right_shank", "right_foot"]
    for site, log in first.logs.items():
        assert np.median(np.diff(log.time_s)) == pytest.approx(0.002, rel=1e-6)
        standing = log.time_s < log.time_s[0] + 2.0
        force = np.linalg.norm(log.accel_mps2[standing].mean(axis=0))
        assert force == pytest.approx(9.80665, abs=0.6)  # a bias of 15 mg on each axis
        np.testing.assert_array_equal(log.gyro_radps, again.logs[site].gyro_radps)


def test_truth_is_on_the_clock_of_the_log() -> None:
    plan = replace(athlete(), impact="strong")
    recording, found = simulate_run(plan, "ideal", 500.0, np.random.default_rng(8))
    log = recording.logs["right_foot"]
    hit = np.linalg.norm(log.accel_mps2, axis=1)
    steps = found.steps[(found.steps["side"] == "right") & (found.steps["gait"] == "run")]
    for touchdown_s in steps["touchdown_s"][3:8]:
        near = np.abs(log.time_s - touchdown_s) < 0.02
        at = log.time_s[near][np.argmax(np.diff(hit[near]))]
        assert -0.002 < at - touchdown_s < 0.008


def test_separate_clocks_differ_but_the_first_log_keeps_the_truth() -> None:
    rig = make_rig(GRADES["ideal"], 200.0, np.random.default_rng(1), clock="separate")
    logs, found = record_motion(motion(), rig, np.random.default_rng(2))
    starts = [log.time_s[0] for log in logs.values()]
    assert max(starts) - min(starts) > 0.01
    first = next(iter(rig.stamps.values()))
    assert first.offset_s == 0.0
    assert found.steps["touchdown_s"][0] - truth().steps["touchdown_s"][0] == pytest.approx(
        first.start_s
    )


def test_a_curve_changes_the_signals_but_not_the_sagittal_truth_much() -> None:
    bent = make_motion(replace(athlete(), curve_radius_m=36.5))
    steps = compute_motion_truth(bent).steps
    np.testing.assert_allclose(
        steps["shin_angle_touchdown_deg"][:10],
        truth().steps["shin_angle_touchdown_deg"][:10],
        atol=2,
    )
    heading = np.arctan2(
        bent.skin["pelvis"].rotation[:, 1, 0], bent.skin["pelvis"].rotation[:, 0, 0]
    )
    assert heading[-1] > 0.4
