"""Runs with jumps and taps: all sensors see them when they are said to be, and the run is kept."""

import numpy as np
import pytest

from imuproc.core.sites import SITES
from imuproc.synth.moments import add_jumps, add_taps, record_common
from imuproc.synth.runs import compute_motion_truth, make_rig
from tests.synth.made_runs import motion


def sampled(common, seed=1):
    rng = np.random.default_rng(seed)
    rig = make_rig("ideal", 500.0, rng, SITES[:4])
    return record_common(motion(), common, rig, rng)


def test_jumps_stand_around_the_run_and_end_in_a_landing() -> None:
    common = add_jumps(motion(), 1, 1, np.random.default_rng(3))
    assert common.events_s[0] < common.run_from_s < common.events_s[1]
    logs, truth = sampled(common)
    start_s = truth.steps["touchdown_s"][0] - compute_motion_truth(motion()).steps["touchdown_s"][0]
    start_s -= common.run_from_s
    for log in logs.values():
        size = np.linalg.norm(log.accel_mps2, axis=1)
        for event_s in common.events_s:
            time_s = log.time_s - start_s - event_s
            assert size[(time_s > -0.2) & (time_s < -0.1)].mean() < 5.0  # in flight
            assert size[(time_s > 0.0) & (time_s < 0.08)].max() > 15.0


def test_legs_may_land_apart() -> None:
    common = add_jumps(motion(), 1, 0, np.random.default_rng(3), apart_s=0.01)
    heights = [common.skin[site].position_m[:, 2] for site in ("left_foot", "right_foot")]
    near = slice(0, round((common.run_from_s - 1.5) * 2000))
    lags = np.arange(-80, 81)
    alike = [np.mean((heights[0][near] - np.roll(heights[1][near], k)) ** 2) for k in lags]
    assert lags[int(np.argmin(alike))] != 0


def test_a_tap_is_one_instant_for_all() -> None:
    common = add_taps(motion(), (1.5,))
    for site, track in common.skin.items():
        moved = np.abs(track.position_m - motion().skin[site].position_m).max(axis=1)
        assert moved[track.time_s < 1.5].max() == 0.0
        assert 0.0 < moved.max() < 0.005
    assert common.run_from_s == 0.0


def test_the_truth_is_on_the_first_logs_clock() -> None:
    common = add_jumps(motion(), 2, 0, np.random.default_rng(3))
    logs, truth = sampled(common)
    log = logs["right_foot"]
    steps = truth.steps[(truth.steps["side"] == "right") & (truth.steps["gait"] == "run")]
    size = np.linalg.norm(log.accel_mps2, axis=1)
    for touchdown_s in steps["touchdown_s"][2:5]:
        near = np.abs(log.time_s - touchdown_s) < 0.02
        at = log.time_s[near][np.argmax(np.diff(size[near]))]
        assert at - touchdown_s == pytest.approx(0.003, abs=0.006)
