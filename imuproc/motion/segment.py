"""One segment: from its signals and what is known of a point on it to drift-free motion."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.motion import SegmentMotion
from imuproc.core.recording import Conditioned, Interval
from imuproc.core.sites import Site
from imuproc.dsp.rotations import (
    quat_from_rotvec,
    quat_multiply,
    quat_rotate,
    quat_to_matrix,
    sagittal_angle,
    skew,
)
from imuproc.motion.drift import (
    DriftProblem,
    DriftSolution,
    PointModel,
    error_prior_sd,
    solve,
    tilt_rows,
)
from imuproc.motion.observations import Anchors, make_anchors, unknown_between
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import Strapdown, at_times, integrate, sensitivity

FloatArray = NDArray[np.float64]

PointBuilder = Callable[[Strapdown, Conditioned, Anchors], PointModel]
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class SegmentInput:
    """What the solution of one segment starts from.

    Parameters
    ----------
    segment : Conditioned
        Signals of the stretch to solve.
    time_s : ndarray, shape (n,)
    rate_hz, gravity_mps2 : float
    anchor : Interval
        Still stretch on which the orientation is levelled (standing).
    stance_start_s, stance_end_s : ndarray, shape (m,)
        Quiet part of each stance.
    """

    segment: Conditioned
    time_s: FloatArray
    rate_hz: float
    gravity_mps2: float
    anchor: Interval
    stance_start_s: FloatArray
    stance_end_s: FloatArray


@dataclass(frozen=True, eq=False)
class Solved:
    """Drift-free motion of one segment in a world with free or given heading.

    Parameters
    ----------
    site : Site
    time_s : ndarray, shape (n,)
    strapdown : Strapdown
    problem : DriftProblem
    solution : DriftSolution
    quat_wxyz : ndarray, shape (n, 4)
    velocity_mps : ndarray, shape (n, 3)
    """

    site: Site
    time_s: FloatArray
    strapdown: Strapdown
    problem: DriftProblem
    solution: DriftSolution
    quat_wxyz: FloatArray
    velocity_mps: FloatArray


def solve_segment(
    given: SegmentInput, point: PointBuilder, settings: MotionSettings, heading_sd_rad: float
) -> Solved:
    """Integrate, turn the world so that X is forward, solve for the errors, and apply them.

    Parameters
    ----------
    given : SegmentInput
    point : callable
        Makes the model of the observed point.
    settings : MotionSettings
    heading_sd_rad : float
        How far the heading may still be off, in rad: small where nothing else fixes it.

    Returns
    -------
    Solved
    """
    strapdown = integrate(
        given.segment, given.time_s, given.rate_hz, given.anchor, given.gravity_mps2
    )
    if len(given.stance_start_s) > 1:
        middle = 0.5 * (given.stance_start_s + given.stance_end_s)
        strapdown = turned(strapdown, -swing_heading(strapdown, middle))
    return _solve_once(given, strapdown, point, settings, heading_sd_rad)


def swing_heading(strapdown: Strapdown, stance_s: FloatArray) -> float:
    """Heading in rad of the swings: velocity in mid-swing against the stances around it.

    A steady drift of velocity cancels, so plain integration is good enough.

    Parameters
    ----------
    strapdown : Strapdown
    stance_s : ndarray, shape (m,)
        Middle of each stance of this leg in s, ascending, at least two.
    """
    at_stance = at_times(strapdown.velocity_mps, strapdown.time_s, stance_s)
    swing_s = 0.5 * (stance_s[1:] + stance_s[:-1])
    at_swing = at_times(strapdown.velocity_mps, strapdown.time_s, swing_s)
    way = (at_swing - 0.5 * (at_stance[1:] + at_stance[:-1])).sum(axis=0)
    return float(np.arctan2(way[1], way[0]))


def turned(strapdown: Strapdown, angle_rad: float) -> Strapdown:
    """The same solution in a world turned about the vertical by an angle."""
    turn = quat_from_rotvec(angle_rad * UP)
    return replace(
        strapdown,
        quat_wxyz=quat_multiply(turn, strapdown.quat_wxyz),
        force_world_mps2=quat_rotate(turn, strapdown.force_world_mps2),
        velocity_mps=quat_rotate(turn, strapdown.velocity_mps),
    )


def _solve_once(
    given: SegmentInput,
    strapdown: Strapdown,
    point: PointBuilder,
    settings: MotionSettings,
    heading_sd_rad: float,
) -> Solved:
    segment, time_s = given.segment, given.time_s
    rests = tuple(
        rest
        for rest in segment.calibration.rests
        if rest.start_s >= time_s[0] and rest.end_s <= time_s[-1]
    )
    anchors = make_anchors(given.stance_start_s, given.stance_end_s, rests)
    accel_blind, gyro_blind = unknown_between(anchors, time_s, segment)
    problem = DriftProblem(
        strapdown=strapdown,
        sensitivity=sensitivity(strapdown, segment),
        anchors=anchors,
        point=point(strapdown, segment, anchors),
        error_sd=error_prior_sd(settings, segment.calibration.gyro_bias_u_radps, heading_sd_rad),
        accel_blind_s=accel_blind,
        gyro_blind_s=gyro_blind,
    )
    solution = solve(problem, settings)
    rotation = _rotation_correction(problem, solution)
    return Solved(
        site=segment.site,
        time_s=time_s,
        strapdown=strapdown,
        problem=problem,
        solution=solution,
        quat_wxyz=quat_multiply(quat_from_rotvec(rotation), strapdown.quat_wxyz),
        velocity_mps=_corrected_velocity(problem, solution),
    )


def _rotation_correction(problem: DriftProblem, solution: DriftSolution) -> FloatArray:
    """Rotation to apply in world axes at every sample in rad, shape (n, 3)."""
    clock = problem.sensitivity.time_s
    unknowns = np.concatenate(
        (
            solution.errors,
            solution.point,
            solution.wander_rad.ravel(),
            solution.anchor_velocity_mps.ravel(),
        )
    )
    thinned = tilt_rows(problem, clock) @ unknowns
    return at_times(thinned, clock, problem.strapdown.time_s)


def _corrected_velocity(problem: DriftProblem, solution: DriftSolution) -> FloatArray:
    """Velocity at every sample that meets each anchor's velocity exactly, shape (n, 3)."""
    sens, strapdown, anchors = problem.sensitivity, problem.strapdown, problem.anchors
    thinned = sens.velocity @ solution.errors
    velocity = strapdown.velocity_mps + at_times(thinned, sens.time_s, strapdown.time_s)
    rest = solution.anchor_velocity_mps - at_times(velocity, strapdown.time_s, anchors.time_s)
    steps = [np.interp(strapdown.time_s, anchors.time_s, rest[:, axis]) for axis in range(3)]
    return velocity + np.stack(steps, axis=-1)


def lever_rows(quat_wxyz: FloatArray, gyro_radps: FloatArray) -> FloatArray:
    """Velocity in world axes of a point per unit of its lever arm in segment axes, (k, 3, 3)."""
    return np.asarray(quat_to_matrix(quat_wxyz) @ skew(gyro_radps))


def turn_solved(solved: Solved, angle_rad: float) -> Solved:
    """A solution with its world turned about the vertical."""
    turn = quat_from_rotvec(angle_rad * UP)
    return replace(
        solved,
        quat_wxyz=quat_multiply(turn, solved.quat_wxyz),
        velocity_mps=quat_rotate(turn, solved.velocity_mps),
    )


def to_motion(
    solved: Solved, given: SegmentInput, axis: FloatArray, running_axis: FloatArray
) -> SegmentMotion:
    """Sagittal angle, its rate and uncertainty from a solved segment.

    Parameters
    ----------
    solved : Solved
        In a world whose X axis is the running direction.
    given : SegmentInput
    axis : ndarray, shape (3,)
        Segment axis whose sagittal angle counts.
    running_axis : ndarray, shape (3,)
        World Y axis of the running direction in the world that the drift was solved in.

    Returns
    -------
    SegmentMotion
    """
    anchor = given.anchor
    still = (solved.time_s >= anchor.start_s) & (solved.time_s <= anchor.end_s)
    angle = sagittal_angle(solved.quat_wxyz, axis)
    rate = quat_rotate(solved.quat_wxyz, given.segment.gyro_radps)
    rows = tilt_rows(solved.problem, solved.problem.sensitivity.time_s)
    anchor_s = np.array([0.5 * (anchor.start_s + anchor.end_s)])
    rows = (rows - tilt_rows(solved.problem, anchor_s)).transpose(0, 2, 1) @ running_axis
    spread = np.linalg.norm(rows @ solved.solution.root, axis=1)
    return SegmentMotion(
        site=solved.site,
        quat_wxyz=solved.quat_wxyz,
        pitch_rad=angle - angle[still].mean(),
        pitch_rate_radps=-rate[:, 1],
        pitch_u_rad=at_times(spread, solved.problem.sensitivity.time_s, solved.time_s),
        rate_world_radps=rate,
        velocity_mps=solved.velocity_mps,
        velocity_u_mps=np.full(len(solved.time_s), np.nan),
        lever_m=solved.solution.point[:3],
        rolling_m=float(solved.solution.point[3]) if len(solved.solution.point) == 4 else 0.0,
    )
