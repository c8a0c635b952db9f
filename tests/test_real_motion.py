"""Recordings from optical running: physically sound, and true to the data they come from.

Data: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imuproc.core.recording import Recording
from imuproc.core.sites import SITES
from imuproc.dsp.integration import cumulative_integral, integrate_gyro
from imuproc.dsp.rotations import quat_from_matrix, quat_to_matrix
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals
from imuproc.synth.sensors.imperfect import GRADES
from imuproc.synth.truth import Truth
from scripts.lab import optical_running, real_motion
from scripts.lab.optical_running import MARKER_LAG_S, RealCase, find_plate_events, slice_middle
from tests.shared_data import SHARED_DATA, needs_shared_data

G = 9.80665


def find_case(runner: str, speed_mps: float) -> RealCase:
    return next(
        c for c in optical_running.list_cases() if (c.runner, c.speed_mps) == (runner, speed_mps)
    )


@pytest.fixture(scope="module")
def fast() -> tuple[RealCase, Recording, Truth]:
    case = find_case("RBDS028", 4.5)
    return case, *real_motion.make_recording(case, GRADES["ideal"], 1000.0, seed=1)


def test_force_crossings_are_above_the_local_zero() -> None:
    """A made-up plate whose zero sits 9 N high: linear flanks of 10 N per ms."""
    t = np.arange(0.0, 2.0, 1.0 / 300.0)
    force = np.full(len(t), 9.0)
    for touchdown in (0.2, 0.6, 1.0, 1.4):
        flank = np.minimum(t - touchdown, touchdown + 0.2 - t) * 10_000.0
        force = np.maximum(force, 9.0 + np.clip(flank, 0.0, 800.0))
    events = find_plate_events(t, force, 20.0)
    np.testing.assert_allclose(events["touchdown_s"], [0.602, 1.002], atol=1e-9)
    np.testing.assert_allclose(events["toe_off_s"], [0.798, 1.198], atol=1e-9)


@needs_shared_data
def test_all_trials_are_there() -> None:
    cases = optical_running.list_cases()
    assert len(cases) == 33
    assert {c.speed_mps for c in cases} == {2.5, 3.5, 4.5}
    assert {c.strike_left for c in cases} == {"Rearfoot", "Midfoot", "Forefoot"}
    assert all(c.path.is_file() for c in cases)


@needs_shared_data
def test_contacts_agree_with_the_table_of_the_data_set() -> None:
    """``steps.csv`` holds crossings of 50 N above the plate's own zero."""
    table = pd.read_csv(SHARED_DATA / "running_markers_force" / "steps.csv")
    for runner, speed in (("RBDS028", 4.5), ("RBDS012", 2.5)):
        motion = optical_running.load_case(find_case(runner, speed))
        own = table[(table["runner"] == runner) & (table["speed_mps"] == speed)]
        ours = optical_running.find_force_events(motion, 50.0)
        # Ours are on the clock of the markers, the table's on that of the force.
        ours[["touchdown_s", "toe_off_s"]] -= MARKER_LAG_S
        assert len(ours) > 20
        nearest = [int((own["td_s"] - t).abs().argmin()) for t in ours["touchdown_s"]]
        theirs = own.iloc[nearest]
        assert (theirs["side"].str.lower().to_numpy() == ours["side"].str[0].to_numpy()).all()
        early = np.abs(ours["touchdown_s"].to_numpy() - theirs["td_s"].to_numpy())
        late = np.abs(ours["toe_off_s"].to_numpy() - theirs["to_s"].to_numpy())
        # Our zero is that of the flight beside the event: 5 N of it are 1 ms and more.
        assert np.median(early) < 0.001
        assert np.median(late) < 0.003
        assert max(early.max(), late.max()) < 0.012
        low, high = (optical_running.find_force_events(motion, n) for n in (10.0, 50.0))
        assert (low["touchdown_s"] <= high["touchdown_s"]).all()
        assert (low["toe_off_s"] >= high["toe_off_s"]).all()


@needs_shared_data
def test_truth_in_the_real_part_is_the_measured_motion(
    fast: tuple[RealCase, Recording, Truth],
) -> None:
    case, _, truth = fast
    with np.load(case.path) as data:
        time_s = data["time_s"]
        measured = {"shin_angle": data["shin_angle_deg_L"], "foot_pitch": data["foot_pitch_deg_L"]}
    clock = real_motion.START_STAMP_S + real_motion.STAND_BEFORE_S - time_s[0]
    real = (time_s + clock > truth.valid_from_s) & (time_s + clock < truth.valid_to_s)
    assert real.sum() > 0.6 * len(real)
    for figure, angle in measured.items():
        played = np.interp(
            time_s[real] + clock, truth.curves["time_s"], truth.curves[f"{figure}_left_deg"]
        )
        # What is left is the smoothing of marker noise and of the touchdown corner.
        assert np.sqrt(np.mean((played - angle[real]) ** 2)) < 1.0


@needs_shared_data
def test_steps_alternate_at_the_belt_speed(fast: tuple[RealCase, Recording, Truth]) -> None:
    case, _, truth = fast
    steps = truth.steps
    assert len(steps) > 15
    assert (steps["side"].to_numpy()[1:] != steps["side"].to_numpy()[:-1]).all()
    assert steps["speed_mps"].mean() == pytest.approx(case.speed_mps, rel=0.02)
    assert steps["step_frequency_hz"].mean() == pytest.approx(3.719, abs=0.05)  # summary.csv
    assert steps["dorsiflexion_swing_mean_deg"].notna().all()  # departures are known


@needs_shared_data
def test_standing_before_and_after_is_quiet_upright_and_long_enough(
    fast: tuple[RealCase, Recording, Truth],
) -> None:
    _, recording, truth = fast
    assert tuple(recording.logs) == SITES[:4]
    for site, log in recording.logs.items():
        for quiet in (log.time_s < log.time_s[0] + 3.0, log.time_s > log.time_s[-1] - 2.0):
            accel = log.accel_mps2[quiet]
            assert np.abs(np.linalg.norm(accel, axis=1) - G).max() < 0.05, site
            assert np.degrees(np.abs(log.gyro_radps[quiet])).max() < 1.5, site
    ends = truth.curves.iloc[[0, -1]]
    np.testing.assert_allclose(ends["shin_angle_left_deg"], 90.0, atol=0.3)
    np.testing.assert_allclose(ends["foot_pitch_right_deg"], 0.0, atol=0.01)


@needs_shared_data
def test_run_up_is_moderate_and_its_stances_are_as_much_at_rest_as_the_real_ones(
    fast: tuple[RealCase, Recording, Truth],
) -> None:
    case, _, _ = fast
    motion = optical_running.load_case(case)
    tracks, shift_s = real_motion.play_tracks(motion, seed=1)
    events = optical_running.find_force_events(motion, 20.0)
    for side in ("left", "right"):
        track = tracks[f"{side}_foot"]
        ball = track.compute_point_m(motion.ball_m[side])
        speed = np.linalg.norm(np.gradient(ball, axis=0) * track.rate_hz, axis=1)
        own = events.loc[events["side"] == side, ["touchdown_s", "toe_off_s"]].to_numpy()
        slips = np.array(
            [
                np.sqrt(np.mean(speed[slice_middle(track.time_s, *pair)] ** 2))
                for pair in own + shift_s
            ]
        )
        assert slips[0] < 0.01  # still standing
        real = np.median(slips)
        assert slips.max() < 1.5 * real
        assert real < 0.25
        first = np.searchsorted(track.time_s, own[2, 0] + shift_s)
        accel, gyro = compute_ideal_signals(track, Mount(np.eye(3), np.zeros(3)), G)
        force, rate = np.linalg.norm(accel, axis=1), np.linalg.norm(gyro, axis=1)
        assert force[:first].max() < force[first:].max()
        assert rate[:first].max() < rate[first:].max()


@needs_shared_data
def test_signals_integrate_back_to_the_optical_pose(
    fast: tuple[RealCase, Recording, Truth],
) -> None:
    case, _, _ = fast
    tracks, _ = real_motion.play_tracks(optical_running.load_case(case), seed=1)
    for site, track in tracks.items():
        accel, gyro = compute_ideal_signals(track, Mount(np.eye(3), np.array([0.1, 0.0, 0.1])), G)
        quat = integrate_gyro(gyro, track.rate_hz, quat_from_matrix(track.rotation[0]))
        back = quat_to_matrix(quat)
        wrong = Rotation.from_matrix(np.swapaxes(back, 1, 2) @ track.rotation).magnitude()
        assert np.degrees(wrong.max()) < 0.01, site
        world = np.einsum("nij,nj->ni", back, accel) - np.array([0.0, 0.0, G])
        velocity = cumulative_integral(world, track.rate_hz)
        assert np.abs(velocity[-1]).max() < 0.02, site  # it stands again
        # A metre a second for ten seconds of foot travel: 1 cm of it is left.
        moved = cumulative_integral(velocity, track.rate_hz)[-1, 0]
        point = track.compute_point_m(np.array([0.1, 0.0, 0.1]))[:, 0]
        assert moved == pytest.approx(point[-1] - point[0], abs=0.05), site


@needs_shared_data
def test_shank_and_foot_share_the_ankle_within_marker_accuracy() -> None:
    for case in optical_running.list_cases()[::8]:
        motion = optical_running.load_case(case)
        assert max(motion.ankle_rms_m.values()) < 0.010
        assert max(motion.ball_slip_mps.values()) < 0.05 * case.speed_mps


@needs_shared_data
def test_shock_rings_at_touchdown_and_leaves_angles_alone() -> None:
    case = find_case("RBDS012", 3.5)
    plain, shaken = (
        real_motion.make_recording(case, GRADES["ideal"], 1000.0, seed=3, shock=shock)
        for shock in ("none", "strong")
    )
    pd.testing.assert_frame_equal(plain[1].curves, shaken[1].curves)
    before, after = plain[0].logs["left_shank"], shaken[0].logs["left_shank"]
    np.testing.assert_allclose(before.gyro_radps, after.gyro_radps)
    extra = np.linalg.norm(after.accel_mps2 - before.accel_mps2, axis=1) / G
    steps = plain[1].steps
    for row in steps[steps["side"] == "left"].itertuples():
        early = (before.time_s > row.touchdown_s) & (before.time_s < row.touchdown_s + 0.02)
        late = (before.time_s > row.toe_off_s - 0.05) & (before.time_s < row.toe_off_s)
        assert 8.0 < extra[early].max() <= 10.1
        assert extra[late].max() < 0.1


def test_command_without_data_says_where_it_looked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(real_motion, "DATA", Path("nowhere"))
    assert real_motion.main() == 2
    assert "nowhere" in capsys.readouterr().err
