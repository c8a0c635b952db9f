"""Rotation that was not seen turns the force, too: orientation and velocity tell one story."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

import imuproc
from imuproc.core.recording import Recording, SensorLog
from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.rotations import quat_rotate
from imuproc.motion import body
from imuproc.motion.segment import Solved, solve_segment
from imuproc.motion.strapdown import GYRO_TERMS, interpolate_at
from tests.simulated import change_logs, make_run, plan_run

LIMIT_RADPS = np.radians(900.0)
BEFORE_FIRST_STEP_S = 0.6


def clipped(log: SensorLog) -> SensorLog:
    gyro = log.gyro_radps.clip(-LIMIT_RADPS, LIMIT_RADPS)
    return replace(log, gyro_radps=gyro, gyro_range_radps=LIMIT_RADPS)


@contextmanager
def solved_segments() -> Iterator[list[Solved]]:
    kept: list[Solved] = []

    def keeping(*asked: object) -> Solved:
        kept.append(solve_segment(*asked))  # type: ignore[arg-type]
        return kept[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(body, "solve_segment", keeping)
        yield kept


def sprint(standing_before: bool) -> Recording:
    recording, truth = make_run(plan_run(733, distance_m=20.0))
    recording = change_logs(recording, clipped)
    if standing_before:
        return recording
    start_s = truth.steps["touchdown_s"].iloc[0] - BEFORE_FIRST_STEP_S
    return change_logs(recording, lambda log: log.take(log.time_s >= start_s))


def by_orientation(solved: Solved) -> np.ndarray:
    """Velocity by integrating the force as the solved orientation turns it, shape (n, 3)."""
    prepared, sens = solved.prepared, solved.problem.sensitivity
    force = quat_rotate(solved.quat_wxyz, prepared.segment.accel_mps2)
    force = force - np.array([0.0, 0.0, prepared.gravity_mps2])
    of_accel = solved.solution.errors[GYRO_TERMS:] @ sens.velocity[:, GYRO_TERMS:]
    integrated = cumulative_integral(force, prepared.strapdown.rate_hz)
    return integrated + interpolate_at(of_accel.T, sens.time_s, solved.time_s)


def left_over(solved: Solved) -> tuple[np.ndarray, np.ndarray]:
    """Velocity that the orientation does not explain, (n, 3), and how much of it was missed."""
    anchors_s, grown = solved.problem.anchors.time_s, solved.problem.blind.velocity_variance
    left = solved.velocity_mps - by_orientation(solved)
    at_anchor = interpolate_at(left, solved.time_s, anchors_s)
    variance = interpolate_at(grown, solved.time_s, anchors_s)
    missed = [np.interp(grown, variance, at_anchor[:, axis]) for axis in range(3)]
    spread = np.diff(at_anchor, axis=0) / np.sqrt(np.diff(variance))[:, None]
    inside = (solved.time_s >= anchors_s[0]) & (solved.time_s <= anchors_s[-1])
    return (left - np.stack(missed, axis=1))[inside], spread


@pytest.mark.parametrize("standing_before", [True, False])
def test_velocity_is_what_the_orientation_makes_of_the_force(standing_before: bool) -> None:
    """But for what the signals have missed, which comes in where they missed it."""
    with solved_segments() as kept:
        imuproc.process(sprint(standing_before))
    for solved in kept[-4:]:
        assert np.abs(left_over(solved)[0]).max() < 0.01


def test_levelled_after_the_run_no_more_is_left_over_than_the_signals_may_have_missed() -> None:
    with solved_segments() as kept:
        imuproc.process(sprint(standing_before=False))
    for solved in kept[-4:]:
        assert np.rad2deg(np.abs(solved.solution.random_walk_rad.sum(axis=0))).max() > 0.8
        assert np.abs(left_over(solved)[1]).max() < 3.0
