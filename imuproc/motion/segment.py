"""One segment: from its signals and what is known of a point on it to drift-free motion."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import RunError
from imuproc.core.motion import SegmentMotion
from imuproc.core.recording import Conditioned
from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.rotations import (
    quat_conjugate,
    quat_from_rotvec,
    quat_multiply,
    quat_rotate,
    quat_to_matrix,
    skew,
    unwrap,
)
from imuproc.motion.drift import DriftProblem, DriftSolution, PointModel, make_error_prior_sd, solve
from imuproc.motion.observations import Anchors, make_anchors
from imuproc.motion.prepared import Prepared, add_hidden_turns
from imuproc.motion.scale import estimate_scale_error
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import GYRO_TERMS, Strapdown, interpolate_at
from imuproc.motion.tilt import (
    compute_tilt_parts,
    compute_tilt_spread,
    compute_tilt_weights,
    sum_random_walk_rad,
)

FloatArray = NDArray[np.float64]

PointBuilder = Callable[[Strapdown, Conditioned, Anchors], PointModel]
UP = np.array([0.0, 0.0, 1.0])

_MOST_ANEW = 4
"""A run whose gyroscopes clip in every stride may take two or three solutions to settle."""


@dataclass(frozen=True, eq=False)
class Stances:
    """Quiet part of each stance of one leg, start and end in s, shape (m,)."""

    start_s: FloatArray
    end_s: FloatArray

    @property
    def middle_s(self) -> FloatArray:
        """Middle of each quiet part in s."""
        return np.asarray(0.5 * (self.start_s + self.end_s))


@dataclass(frozen=True, eq=False)
class Solved:
    """Drift-free motion of one segment.

    Parameters
    ----------
    prepared : Prepared
    problem : DriftProblem
    solution : DriftSolution
        Both in the world that was integrated in.
    quat_wxyz : ndarray, shape (n, 4)
    velocity_mps : ndarray, shape (n, 3)
        Both in that world turned about the vertical by ``turned_rad``.
    turned_rad : float
    """

    prepared: Prepared
    problem: DriftProblem
    solution: DriftSolution
    quat_wxyz: FloatArray
    velocity_mps: FloatArray
    turned_rad: float = 0.0

    def get_strapdown(self) -> Strapdown:
        """The integration with the orientation that was solved."""
        return replace(self.prepared.strapdown, quat_wxyz=self.quat_wxyz)

    @property
    def time_s(self) -> FloatArray:
        """Clock of the motion in s, shape (n,)."""
        return self.prepared.strapdown.time_s


def estimate_swing_heading(strapdown: Strapdown, stance_s: FloatArray) -> float:
    """Heading in rad of the swings: velocity in mid-swing against the stances around it.

    A steady drift of velocity cancels, so plain integration is good enough.

    Parameters
    ----------
    strapdown : Strapdown
    stance_s : ndarray, shape (m,)
        Middle of each stance of this leg in s, ascending.

    Returns
    -------
    float
        0 with fewer than two stances.
    """
    if len(stance_s) < 2:
        return 0.0
    at_stance = interpolate_at(strapdown.velocity_mps, strapdown.time_s, stance_s)
    swing_s = 0.5 * (stance_s[1:] + stance_s[:-1])
    at_swing = interpolate_at(strapdown.velocity_mps, strapdown.time_s, swing_s)
    way = (at_swing - 0.5 * (at_stance[1:] + at_stance[:-1])).sum(axis=0)
    return float(np.arctan2(way[1], way[0]))


def solve_segment(
    prepared: Prepared,
    stances: Stances,
    point: PointBuilder,
    settings: MotionSettings,
    heading_sd_rad: float,
) -> Solved:
    """Solve for the errors of the integration, and apply them.

    Parameters
    ----------
    prepared : Prepared
    stances : Stances
    point : callable
        Makes the model of the observed point, in the world that was integrated in.
    settings : MotionSettings
    heading_sd_rad : float
        How far the heading may be off, in rad: small where nothing else fixes it.

    Returns
    -------
    Solved
        In the world that was integrated in.

    Raises
    ------
    RunError
        If the samples leave no solution.
    """
    asked = (stances, point, settings, heading_sd_rad)
    try:
        solved = _solve_once(prepared, *asked)
        for _ in range(_MOST_ANEW):
            turned = add_hidden_turns(solved.prepared, solved.problem, solved.solution, settings)
            if turned is None:
                break
            solved = _solve_once(turned, *asked)
        return solved
    except np.linalg.LinAlgError as error:
        raise RunError(
            f"the motion of {prepared.segment.site} cannot be worked out: its samples are of no "
            "size that a limb can move with; the log is probably damaged, copy it again"
        ) from error


def _solve_once(
    prepared: Prepared,
    stances: Stances,
    point: PointBuilder,
    settings: MotionSettings,
    heading_sd_rad: float,
) -> Solved:
    segment, strapdown = prepared.segment, prepared.strapdown
    time_s = strapdown.time_s
    rests = tuple(
        rest
        for rest in segment.calibration.rests
        if rest.start_s >= time_s[0] and rest.end_s <= time_s[-1]
    )
    anchors = make_anchors(stances.start_s, stances.end_s, rests, settings.rest_piece_s)
    problem = DriftProblem(
        strapdown=strapdown,
        sensitivity=prepared.sensitivity,
        anchors=anchors,
        point=point(strapdown, segment, anchors),
        error_sd=make_error_prior_sd(
            settings,
            segment.calibration.gyro_bias_u_radps,
            heading_sd_rad,
            prepared.accel_off,
        ),
        blind=prepared.blind,
        put_in_rad=prepared.put_in_rad,
    )
    solution = solve(problem, settings)
    rotation = _compute_correction(problem, solution)
    quat_wxyz = quat_multiply(quat_from_rotvec(rotation), strapdown.quat_wxyz)
    return Solved(
        prepared=prepared,
        problem=problem,
        solution=solution,
        quat_wxyz=quat_wxyz,
        velocity_mps=_correct_velocity(prepared, problem, solution, quat_wxyz),
    )


def _compute_correction(problem: DriftProblem, solution: DriftSolution) -> FloatArray:
    """Rotation to apply in world axes at every sample in rad, shape (n, 3)."""
    clock, tilt = problem.sensitivity.time_s, problem.sensitivity.tilt
    thinned = (solution.errors[: tilt.shape[1]] @ tilt).T
    thinned = thinned + sum_random_walk_rad(problem, solution, clock)
    return interpolate_at(thinned, clock, problem.strapdown.time_s)


def _correct_velocity(
    prepared: Prepared, problem: DriftProblem, solution: DriftSolution, quat_wxyz: FloatArray
) -> FloatArray:
    """Velocity at every sample that meets each anchor's velocity exactly, shape (n, 3).

    It is what the corrected orientation makes of the force. What is then left over between two
    anchors comes in where the signals may have missed it: at impacts and clipped samples rather
    than evenly (the conditional mean of a random walk whose variance grows there).
    """
    sens, strapdown, anchors = problem.sensitivity, problem.strapdown, problem.anchors
    force = quat_rotate(quat_wxyz, prepared.segment.accel_mps2) - prepared.gravity_mps2 * UP
    of_accel = (solution.errors[GYRO_TERMS:] @ sens.velocity[:, GYRO_TERMS:]).T
    velocity = cumulative_integral(force, strapdown.rate_hz)
    velocity += interpolate_at(of_accel, sens.time_s, strapdown.time_s)
    left = solution.anchor_velocity_mps - interpolate_at(velocity, strapdown.time_s, anchors.time_s)
    grown = problem.blind.velocity_variance
    at_anchor = interpolate_at(grown, strapdown.time_s, anchors.time_s)
    steps = [np.interp(grown, at_anchor, left[:, axis]) for axis in range(3)]
    return velocity + np.stack(steps, axis=-1)


def make_lever_rows(quat_wxyz: FloatArray, gyro_radps: FloatArray) -> FloatArray:
    """Velocity in world axes of a point per unit of its lever arm in segment axes, (k, 3, 3)."""
    return np.asarray(quat_to_matrix(quat_wxyz) @ skew(gyro_radps))


def sample_rotation(
    strapdown: Strapdown, segment: Conditioned, anchors: Anchors
) -> tuple[FloatArray, FloatArray]:
    """Orientation and angular velocity at the observation instants, of stances only."""
    stance = anchors.is_stance[anchors.sample_anchor][:, None]
    quat = interpolate_at(strapdown.quat_wxyz, strapdown.time_s, anchors.sample_time_s)
    gyro = interpolate_at(segment.gyro_radps, strapdown.time_s, anchors.sample_time_s)
    return quat / np.linalg.norm(quat, axis=1, keepdims=True), np.where(stance, gyro, 0.0)


def turn_solved(solved: Solved, angle_rad: float) -> Solved:
    """A solution with its world turned about the vertical."""
    turn = quat_from_rotvec(angle_rad * UP)
    return replace(
        solved,
        quat_wxyz=quat_multiply(turn, solved.quat_wxyz),
        velocity_mps=quat_rotate(turn, solved.velocity_mps),
        turned_rad=solved.turned_rad + angle_rad,
    )


def to_motion(
    solved: Solved,
    axis: FloatArray,
    bend_rad: FloatArray,
    turn_rad: float = 0.0,
    uncertainty: bool = True,
) -> SegmentMotion:
    """Sagittal angle, its rate and uncertainty from a solved segment.

    Parameters
    ----------
    solved : Solved
        In a world whose X axis is the running direction.
    axis : ndarray, shape (3,)
        Segment axis whose sagittal angle counts.
    bend_rad : ndarray, shape (n,)
        Direction of the way in that world: the sagittal plane turns with it.
    turn_rad : float
        Turn of the segment axes about their own vertical.
    uncertainty : bool
        Whether to work out the angle's uncertainty; NaN otherwise, but where the gyroscope clipped.

    Returns
    -------
    SegmentMotion
        In the turned axes.
    """
    prepared, point = solved.prepared, solved.solution.point
    anchor = prepared.anchor
    still = (solved.time_s >= anchor.start_s) & (solved.time_s <= anchor.end_s)
    turn = quat_from_rotvec(turn_rad * UP)
    quat_wxyz = quat_multiply(solved.quat_wxyz, turn) if turn_rad else solved.quat_wxyz
    rate = quat_rotate(solved.quat_wxyz, prepared.segment.gyro_radps)
    forward, left, up = quat_rotate(quat_wxyz, axis).T
    pitch_rate = -rate[:, 1]
    if bend_rad.any():
        ahead, aside = np.cos(bend_rad), np.sin(bend_rad)
        forward = ahead * forward + aside * left
        pitch_rate = aside * rate[:, 0] - ahead * rate[:, 1]
    angle = unwrap(np.arctan2(up, forward))
    clipped = prepared.segment.gyro_clipped.any()
    pitch_u, pitch_parts = np.full(len(angle), np.nan), dict[str, FloatArray]()
    if uncertainty or clipped:
        pitch_u, pitch_parts = _compute_pitch_u(solved, bend_rad)
    return SegmentMotion(
        site=prepared.segment.site,
        quat_wxyz=quat_wxyz,
        pitch_rad=angle - angle[still].mean(),
        pitch_rate_radps=pitch_rate,
        pitch_u_rad=pitch_u,
        rate_world_radps=rate,
        velocity_mps=solved.velocity_mps,
        lever_m=quat_rotate(quat_conjugate(turn), _get_lever(point)),
        pitch_parts_rad=pitch_parts,
        bend_rad=bend_rad,
        heading_u_rad=_compute_heading_u(solved) if uncertainty else None,
        slip_u_rad=prepared.segment.calibration.slip_u_rad,
        gyro_scale=estimate_scale_error(solved.solution) if uncertainty and not clipped else None,
    )


def _get_lever(point: FloatArray) -> FloatArray:
    """Lever arm; of a foot (which has a rolling radius too) down to the ground under the pivot.

    Height of the pivot and rolling radius can hardly be told apart while the foot is flat, but
    their difference can.
    """
    rolling = point[3] if len(point) == 4 else 0.0
    return np.asarray(point[:3] - np.array([0.0, 0.0, rolling]))


_DRIFT_STEP_S = 0.03
"""Drift is slow: its uncertainty is worked out so often from a while before the stances on ..."""
_DRIFT_STEP_AT_REST_S = 0.2
"""... and so often elsewhere."""
_AROUND_STANCES_S = 1.0
_PARTS_EVERY = 3
"""What single causes add is worked out at every third of these instants: it costs more."""
_NOTHING_RAD = 1e-4
"""Turns that were not seen and are smaller than this change no heading."""


def _compute_pitch_u(
    solved: Solved, bend_rad: FloatArray
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Standard uncertainty of the sagittal angle against standing in rad, and parts of it, (n,).

    Drift is slow, so it is worked out at a few instants and interpolated.
    """
    at_s = _list_drift_instants(solved)
    anchor = solved.prepared.anchor
    standing_s = np.full(1, 0.5 * (anchor.start_s + anchor.end_s))
    turned = solved.turned_rad - np.interp(at_s, solved.time_s, bend_rad)
    across = np.stack((np.sin(turned), np.cos(turned), np.zeros(len(turned))), axis=1)
    weights = compute_tilt_weights(solved.problem, at_s, across)
    weights -= compute_tilt_weights(solved.problem, standing_s, across)
    spread = compute_tilt_spread(solved.solution, weights)
    parts = compute_tilt_parts(solved.problem, solved.solution, weights[::_PARTS_EVERY])
    return np.interp(solved.time_s, at_s, spread), {
        name: np.interp(solved.time_s, at_s[::_PARTS_EVERY], part) for name, part in parts.items()
    }


def _compute_heading_u(solved: Solved) -> FloatArray | None:
    """What turns that were not seen leave uncertain of the heading in rad, shape (n,).

    Against the mean over all stances, which is turned to the way; None where all was seen.
    """
    problem, anchors = solved.problem, solved.problem.anchors
    if not anchors.is_stance.any():
        return None
    ends_s = anchors.time_s[[0, -1]]  # what is missing outside of them turns nothing
    before, after = interpolate_at(problem.blind.rotation_sd_rad, solved.time_s, ends_s)
    if after - before < _NOTHING_RAD:
        return None
    at_s, stance_s = _list_drift_instants(solved), anchors.time_s[anchors.is_stance]
    upright = np.tile(UP, (len(at_s) + len(stance_s), 1))
    weights = compute_tilt_weights(problem, np.concatenate((at_s, stance_s)), upright)
    weights = weights[: len(at_s)] - weights[len(at_s) :].mean(axis=0)
    return np.interp(solved.time_s, at_s, compute_tilt_spread(solved.solution, weights))


def _list_drift_instants(solved: Solved) -> FloatArray:
    """Instants at which drift is worked out: close to each other around the stances, in s."""
    time_s, anchors = solved.time_s, solved.problem.anchors
    stance_s = anchors.time_s[anchors.is_stance]
    coarse = np.arange(time_s[0], time_s[-1] + _DRIFT_STEP_AT_REST_S, _DRIFT_STEP_AT_REST_S)
    if len(stance_s) == 0:
        return coarse
    first, last = stance_s[0] - _AROUND_STANCES_S, stance_s[-1] + _AROUND_STANCES_S
    fine = np.arange(max(first, time_s[0]), min(last, time_s[-1]), _DRIFT_STEP_S)
    return np.union1d(coarse, fine)
