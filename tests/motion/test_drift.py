"""The shin angle stays free of drift where a gravity-referenced filter does not.

Sustained forward acceleration looks like tilt to a filter that levels itself on gravity. Reference:
the general-purpose orientation filter ``vqf`` (Laidig & Seel 2023, Information Fusion 91:187), with
its default settings, on the same simulated block starts.
"""

from functools import cache

import numpy as np
import pytest
from vqf import offlineVQF

import imuproc
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.dsp.rotations import quat_rotate
from imuproc.synth.plan import random_plan
from imuproc.synth.runs import simulate_run
from imuproc.synth.truth import Truth

SEEDS = (711, 712)
FIRST_STEPS = 6


@cache
def block_start(seed: int) -> tuple[Recording, Truth, Result]:
    rng = np.random.default_rng(seed)
    recording, truth = simulate_run(random_plan(rng, "blocks", 20.0), "mid", 500.0, rng)
    return recording, truth, imuproc.process(recording)


def true_shin(truth: Truth, side: str, time_s: np.ndarray) -> np.ndarray:
    return np.interp(time_s, truth.curves["time_s"], truth.curves[f"shin_angle_{side}_deg"])


def filter_shin_error_deg(recording: Recording, truth: Truth, result: Result, side: str) -> float:
    """RMS error of the shin angle of the plain filter over the first contacts."""
    log = recording.logs[f"{side}_shank"]
    period_s = float(np.median(np.diff(log.time_s)))
    quat = offlineVQF(log.gyro_radps.copy(), log.accel_mps2.copy(), None, period_s)["quat6D"]
    calibration = result.conditioned.segments[f"{side}_shank"].calibration
    # The filter's world has another heading: the inclination of the shank's axis needs none, and
    # its side (knee ahead or behind) is taken from the truth, which favours the filter.
    height = quat_rotate(quat, calibration.segment_from_sensor[2])[:, 2]
    first = truth.steps["touchdown_s"].iloc[0]
    last = truth.steps["toe_off_s"].iloc[FIRST_STEPS]
    inside = (log.time_s > first) & (log.time_s < last)
    true = true_shin(truth, side, log.time_s[inside])
    lean = np.degrees(np.arccos(np.clip(height[inside], -1.0, 1.0)))
    return float(np.sqrt(np.mean((90.0 - np.sign(90.0 - true) * lean - true) ** 2)))


def our_shin_error_deg(truth: Truth, result: Result, side: str) -> float:
    curves = result.curves
    first = truth.steps["touchdown_s"].iloc[0]
    last = truth.steps["toe_off_s"].iloc[FIRST_STEPS]
    inside = curves["time_s"].between(first, last)
    error = curves[f"shin_angle_{side}_deg"] - true_shin(truth, side, curves["time_s"].to_numpy())
    return float(np.sqrt(np.mean(error[inside] ** 2)))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("side", ["left", "right"])
def test_shin_angle_out_of_the_blocks_beats_the_plain_filter(seed: int, side: str) -> None:
    recording, truth, result = block_start(seed)
    ours = our_shin_error_deg(truth, result, side)
    assert ours < 1.5
    assert filter_shin_error_deg(recording, truth, result, side) > 2.0 * ours


@pytest.mark.parametrize("seed", SEEDS)
def test_the_stated_uncertainty_covers_the_error_of_the_curve(seed: int) -> None:
    _, truth, result = block_start(seed)
    for side in ("left", "right"):
        segment = result.motion.segments[f"{side}_shank"]
        inside = (result.motion.time_s > truth.steps["touchdown_s"].iloc[0]) & (
            result.motion.time_s < truth.steps["toe_off_s"].iloc[-4]
        )
        true = true_shin(truth, side, result.motion.time_s)
        error = np.degrees(segment.pitch_rad) + 90.0 - true
        u = np.hypot(np.degrees(segment.pitch_u_rad), 0.3)  # 0.3: soft tissue, a named part
        assert np.mean(np.abs(error[inside]) < 2.0 * u[inside]) > 0.85


def test_velocity_of_the_ball_is_near_zero_in_stance() -> None:
    _, _, result = block_start(SEEDS[0])
    for side in ("left", "right"):
        foot = result.motion.segments[f"{side}_foot"]
        own = result.contacts.take(result.contacts.side == side)
        middle = 0.55 * own.touchdown_s + 0.45 * own.toe_off_s
        lever = quat_rotate(foot.quat_wxyz, np.broadcast_to(foot.lever_m, (len(foot.pitch_rad), 3)))
        speed = np.linalg.norm(foot.velocity_mps + np.cross(foot.rate_world_radps, lever), axis=1)
        at_stance = np.interp(middle, result.motion.time_s, speed)
        swinging = np.interp(
            0.5 * (own.toe_off_s[:-1] + own.touchdown_s[1:]), result.motion.time_s, speed
        )
        assert np.median(at_stance) < 0.5
        assert np.median(swinging) > 5.0
