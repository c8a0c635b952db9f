"""Batch least squares for the errors of a strapdown solution.

All rests and stances of the run are used at once, with sensor errors, lever arm and the velocity
of each anchor among the unknowns, each with its prior standard deviation. The posterior covariance
is that of the estimates (linear Gaussian model; e.g. Kay 1993, *Estimation Theory*, ch. 12).
Stances that do not fit are weighed down (Huber 1964, Ann Math Stat 35:73).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import helmert

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.rotations import skew
from imuproc.motion.arrowhead import Factor, Information, Links
from imuproc.motion.observations import SAMPLES_PER_STANCE, Anchors, Blindness
from imuproc.motion.seen import Seen
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import (
    ERROR_TERMS,
    GYRO_TERMS,
    Sensitivity,
    Strapdown,
    interpolate_along,
    interpolate_at,
)

FloatArray = NDArray[np.float64]

_REWEIGHTINGS = 4
_SETTLED = 0.01
_ANY_VELOCITY_MPS = 30.0
"""Prior of an anchor's velocity: it tells nothing."""


@dataclass(frozen=True, eq=False)
class PointModel:
    """What is known about the point whose velocity is observed in stance.

    Parameters
    ----------
    rows : ndarray, shape (k, 3, q)
        Velocity of the point relative to the sensor per unit of each of its own unknowns
        (lever arm, rolling radius, ...).
    target : ndarray, shape (k, 3)
        Velocity that the point should have in m/s, world axes.
    prior_mean, prior_sd : ndarray, shape (q,)
    velocity_sd_mps : float
        Of the mean over a stance.
    within_sd_mps : float
        Of how it goes up and down within a stance.
    """

    rows: FloatArray
    target: FloatArray
    prior_mean: FloatArray
    prior_sd: FloatArray
    velocity_sd_mps: float
    within_sd_mps: float


@dataclass(frozen=True, eq=False)
class DriftProblem:
    """Everything that the batch solution needs.

    Parameters
    ----------
    strapdown : Strapdown
    sensitivity : Sensitivity
    anchors : Anchors
    point : PointModel
    error_sd : ndarray, shape (30,)
        Prior standard deviation of each error term.
    blind : Blindness
    put_in_rad : ndarray, shape (a - 1, 3), or None
        Turns that were not seen and have been put in already: the prior counts them, too.
    """

    strapdown: Strapdown
    sensitivity: Sensitivity
    anchors: Anchors
    point: PointModel
    error_sd: FloatArray
    blind: Blindness
    put_in_rad: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class DriftSolution:
    """Estimated errors and what their covariance is worked out from.

    Parameters
    ----------
    errors : ndarray, shape (30,)
    point : ndarray, shape (q,)
    random_walk_rad : ndarray, shape (a - 1, 3)
        Extra rotation gathered between neighbouring anchors.
    anchor_velocity_mps : ndarray, shape (a, 3)
    stance_misfit : ndarray, shape (a,)
        Residual of each anchor in standard deviations.
    prior_sd : ndarray, shape (30 + q,)
        Of errors and point.
    links : Links
        Rows that tie neighbouring anchors: velocity first, then rotation.
    factor : Factor
        Of the information; errors and point count in units of ``prior_sd``.
    """

    errors: FloatArray
    point: FloatArray
    random_walk_rad: FloatArray
    anchor_velocity_mps: FloatArray
    stance_misfit: FloatArray
    prior_sd: FloatArray
    links: Links
    factor: Factor


def make_error_prior_sd(
    settings: MotionSettings, gyro_bias_u_radps: float, heading_sd_rad: float, accel_off: float
) -> FloatArray:
    """Prior standard deviation of each error term, shape (30,).

    An accelerometer that reads gravity wrong by more than a usual one may be off by as much in the
    scale or the bias of any axis: rest tells how much, not which.
    """
    off = accel_off if accel_off > settings.accel_usual_off else 0.0
    tilt_sd = np.radians(settings.tilt_sd_deg)
    g_sensitivity = np.radians(settings.g_sensitivity_sd_degps_per_g) / STANDARD_GRAVITY_MPS2
    return np.concatenate(
        (
            [tilt_sd, tilt_sd, heading_sd_rad],
            np.full(3, gyro_bias_u_radps),
            np.full(9, settings.gyro_matrix_sd),
            np.full(9, g_sensitivity),
            np.full(3, np.hypot(settings.accel_bias_sd_mps2, off * STANDARD_GRAVITY_MPS2)),
            np.full(3, np.hypot(settings.accel_scale_sd, off)),
        )
    )


def solve(problem: DriftProblem, settings: MotionSettings) -> DriftSolution:
    """Solve for sensor errors, lever arm and anchor velocities of one segment.

    Parameters
    ----------
    problem : DriftProblem
    settings : MotionSettings

    Returns
    -------
    DriftSolution
    """
    prior_mean = np.concatenate((np.zeros(ERROR_TERMS), problem.point.prior_mean))
    prior_sd = np.concatenate((problem.error_sd, problem.point.prior_sd))
    links, values = _make_links(problem, settings, prior_sd)
    seen = _make_observations(problem, settings, prior_mean, prior_sd)
    chain_right, shared_right = links.gather_right_side(values)
    weight = np.ones(len(problem.anchors.time_s))
    nothing = np.zeros((len(weight), 6, len(prior_sd)))
    fixed = Information.from_links(links).add(
        _make_chain_prior(len(weight)), nothing, np.eye(len(prior_sd))
    )
    for _ in range(_REWEIGHTINGS):
        about, right = seen.gather_information(weight)
        factor = fixed.add(*about).factor()
        chain, shared = factor.solve(
            (chain_right + right[0])[:, :, None], (shared_right + right[1])[:, None]
        )
        misfit = seen.compute_misfit(chain[:, 3:, 0], shared[:, 0])
        before, weight = weight, np.minimum(1.0, settings.huber / np.maximum(misfit, 1e-9))
        if np.abs(weight - before).max() < _SETTLED:
            break
    value = prior_mean + prior_sd * shared[:, 0]
    return DriftSolution(
        errors=value[:ERROR_TERMS],
        point=value[ERROR_TERMS:],
        random_walk_rad=np.diff(chain[:, :3, 0], axis=0),
        anchor_velocity_mps=chain[:, 3:, 0],
        stance_misfit=misfit,
        prior_sd=prior_sd,
        links=links,
        factor=factor,
    )


def _make_chain_prior(anchors: int) -> FloatArray:
    """Information about each anchor's rotation and velocity by itself, shape (a, 6)."""
    prior = np.zeros((anchors, 6))
    prior[:, 3:] = _ANY_VELOCITY_MPS**-2
    prior[0, :3] = 1.0  # the rotation at the first anchor is 0: no row has it
    return prior


def _gain_between(problem: DriftProblem, running: FloatArray) -> FloatArray:
    """What a running quantity gains from each anchor to the next, shape (a - 1,)."""
    return np.diff(interpolate_at(running, problem.strapdown.time_s, problem.anchors.time_s))


def _make_links(
    problem: DriftProblem, settings: MotionSettings, prior_sd: FloatArray
) -> tuple[Links, FloatArray]:
    """Rows that tie neighbouring anchors, and their values, shape (a - 1, 6).

    An anchor's state is the rotation that has wandered in since the first one, and its velocity.
    """
    sens, anchors = problem.sensitivity, problem.anchors
    count = len(anchors.time_s) - 1
    nominal = interpolate_at(
        problem.strapdown.velocity_mps, problem.strapdown.time_s, anchors.time_s
    )
    gathered = np.sqrt(_gain_between(problem, problem.blind.velocity_variance))
    sd = np.concatenate(
        (
            np.repeat(np.maximum(gathered, 1e-4)[:, None], 3, axis=1),
            np.repeat(_compute_random_walk_sd(problem, settings)[:, None], 3, axis=1),
        ),
        axis=1,
    )
    force = np.diff(interpolate_at(sens.force_integral_mps, sens.time_s, anchors.time_s), axis=0)
    states = np.zeros((count, 6, 2, 6))
    # What has wandered in tilts the force of a link: the mean of both ends, as it comes in evenly.
    states[:, :3, :, :3] = 0.5 * skew(force)[:, :, None, :]
    for rows, columns in ((slice(0, 3), slice(3, 6)), (slice(3, 6), slice(0, 3))):
        states[:, rows, 0, columns] = -np.eye(3)
        states[:, rows, 1, columns] = np.eye(3)
    states[:1, :, 0, :3] = 0.0
    shared = np.zeros((count, 6, len(prior_sd)))
    gained = interpolate_along(sens.velocity, sens.time_s, anchors.time_s)
    shared[:, :3, :ERROR_TERMS] = -np.diff(gained, axis=0)
    put_in = np.zeros((count, 3)) if problem.put_in_rad is None else problem.put_in_rad
    values = np.concatenate((np.diff(nominal, axis=0), -put_in), axis=1)
    states = states.reshape(count, 6, 12) / sd[:, :, None]
    return Links(states, shared * prior_sd / sd[:, :, None]), values / sd


def _compute_random_walk_sd(problem: DriftProblem, settings: MotionSettings) -> FloatArray:
    """Standard deviation of what wanders in from each anchor to the next, shape (a - 1,)."""
    duration = np.maximum(np.diff(problem.anchors.time_s), 1e-3)
    wander = np.radians(settings.wander_sd_deg_per_sqrt_s) * np.sqrt(duration)
    return np.asarray(np.hypot(wander, _gain_between(problem, problem.blind.rotation_sd_rad)))


def _make_observations(
    problem: DriftProblem, settings: MotionSettings, prior_mean: FloatArray, prior_sd: FloatArray
) -> Seen:
    """What is seen of velocity at each observation instant."""
    sens, anchors, strapdown = problem.sensitivity, problem.anchors, problem.strapdown
    centre_s = anchors.time_s[anchors.sample_anchor]
    gained, nominal = (
        read(running, clock_s, anchors.sample_time_s) - read(running, clock_s, centre_s)
        for read, running, clock_s in (
            (interpolate_along, sens.velocity, sens.time_s),
            (interpolate_at, strapdown.velocity_mps, strapdown.time_s),
        )
    )
    rows = np.concatenate((gained, problem.point.rows), axis=2)
    value = problem.point.target - nominal - rows @ prior_mean
    stances = int(anchors.is_stance.sum())
    mean_sd, within_sd = problem.point.velocity_sd_mps, problem.point.within_sd_mps
    per_stance = np.array([mean_sd] + [within_sd] * (SAMPLES_PER_STANCE - 1))
    per_stance *= np.sqrt(SAMPLES_PER_STANCE)
    sd = np.full(len(value), settings.rest_velocity_sd_mps)
    sd[: stances * SAMPLES_PER_STANCE] = np.tile(per_stance, stances)
    return Seen(
        shared=_separate_means(rows, stances) * prior_sd / sd[:, None, None],
        own=_separate_means(np.ones(len(value)), stances) / sd,
        value=_separate_means(value, stances) / sd[:, None],
        anchor=anchors.sample_anchor,
    )


def _separate_means(values: FloatArray, stances: int) -> FloatArray:
    """The samples of each stance turned to their mean and what goes up and down about it."""
    if stances == 0:  # a pelvis
        return values
    count = stances * SAMPLES_PER_STANCE
    blocks = values[:count].reshape(stances, SAMPLES_PER_STANCE, -1)
    turned = (helmert(SAMPLES_PER_STANCE, full=True) @ blocks).reshape(values[:count].shape)
    return np.concatenate((turned, values[count:]))


def compute_tilt_spread(solution: DriftSolution, weights: FloatArray) -> FloatArray:
    """Standard uncertainty of combinations of the rotation's unknowns.

    Parameters
    ----------
    solution : DriftSolution
    weights : ndarray, shape (k, 24 + 3 * (a - 1))
        Of the gyro terms and the wander: as :func:`compute_tilt_weights` gives them.

    Returns
    -------
    ndarray, shape (k,)
        In the unit of the combination.
    """
    factor = solution.factor
    variance = [
        factor.compute_variance(*_to_states(some, solution))
        for some in _split_weights(weights, factor)
    ]
    return np.sqrt(np.concatenate(variance))


def compute_tilt_parts(
    problem: DriftProblem, solution: DriftSolution, weights: FloatArray
) -> dict[str, FloatArray]:
    """What causes add to the standard uncertainty of combinations of the rotation's unknowns.

    A least-squares estimate is off by its covariance times each row's error, row by row; the
    squares of these shares add up to its whole variance (JCGM 100:2008, 5.1.2), so the share of
    one cause can be told.

    Parameters
    ----------
    problem : DriftProblem
    solution : DriftSolution
    weights : ndarray, shape (k, 24 + 3 * (a - 1))
        As for :func:`compute_tilt_spread`.

    Returns
    -------
    dict
        ``clipping`` and ``rate``, shape (k,) each, in the unit of the combination.
    """
    blind, factor = problem.blind, solution.factor
    gathered = np.maximum(_gain_between(problem, blind.velocity_variance), 1e-12)
    hidden = _gain_between(problem, blind.rotation_sd_rad)
    hidden = hidden * _gain_between(problem, blind.clipped_rotation_sd_rad)
    clipped = _gain_between(problem, blind.clipped_velocity_variance) / gathered
    undersampled = _gain_between(problem, blind.undersampled_velocity_variance) / gathered
    # Each row of a link has a variance of 1: these are the shares of it.
    shares = np.zeros((2, len(gathered), 6))
    shares[0, :, :3], shares[1, :, :3] = clipped[:, None], undersampled[:, None]
    wander_sd = np.diagonal(solution.links.states[:, 3:, 6:9], axis1=1, axis2=2) ** -1.0
    shares[0, :, 3:] = hidden[:, None] / wander_sd**2
    variance = [np.empty((2, 0))]
    for some in _split_weights(weights, factor):
        answers = factor.solve(*_to_states(some, solution))
        squares = solution.links.apply_rows(*answers) ** 2
        variance.append(shares.reshape(2, -1) @ squares.reshape(-1, len(some)))
    clipping, rate = np.sqrt(np.concatenate(variance, axis=1))
    return {"clipping": clipping, "rate": rate}


def _split_weights(weights: FloatArray, factor: Factor) -> list[FloatArray]:
    """Some of the combinations after the other, as many at once as memory should hold."""
    size = factor.count_at_a_time()
    return [weights[first : first + size] for first in range(0, max(len(weights), 1), size)]


def _to_states(weights: FloatArray, solution: DriftSolution) -> tuple[FloatArray, FloatArray]:
    """Combinations of gyro terms and wander as those of states (a, 6, k) and of the shared (s, k).

    What wanders in along a link is the difference of its ends.
    """
    wander = weights[:, GYRO_TERMS:].T.reshape(-1, 3, len(weights))
    chain = np.zeros((len(wander) + 1, 6, len(weights)))
    chain[1:, :3] = wander
    chain[1:-1, :3] -= wander[1:]  # the first anchor's own rotation is 0
    shared = np.zeros((len(solution.prior_sd), len(weights)))
    shared[:GYRO_TERMS] = weights[:, :GYRO_TERMS].T * solution.prior_sd[:GYRO_TERMS, None]
    return chain, shared


def compute_tilt_weights(problem: DriftProblem, time_s: FloatArray, axis: FloatArray) -> FloatArray:
    """Rotation error about an axis per unit of each gyro term and each wander.

    Parameters
    ----------
    problem : DriftProblem
    time_s : ndarray, shape (k,) or (1,)
        One time for all axes, or a time for each.
    axis : ndarray, shape (k, 3)
        World axes.

    Returns
    -------
    ndarray, shape (k, 24 + 3 * (a - 1))
    """
    tilt = interpolate_along(problem.sensitivity.tilt, problem.sensitivity.time_s, time_s)
    gyro = sum(tilt[:, i] * axis[:, i, None] for i in range(3))
    wander = _share_random_walk(problem, time_s)[:, :, None] * axis[:, None, :]
    return np.concatenate((gyro, wander.reshape(len(axis), -1)), axis=1)


def _share_random_walk(problem: DriftProblem, time_s: FloatArray) -> FloatArray:
    """Share of each link's wander that has come in since the first anchor, shape (k, links).

    Wander comes in evenly between neighbouring anchors.
    """
    anchors = problem.anchors.time_s
    length = np.diff(anchors).clip(1e-6)
    return np.asarray(np.clip((time_s[:, None] - anchors[:-1]) / length, 0.0, 1.0))


def sum_random_walk_rad(
    problem: DriftProblem, solution: DriftSolution, time_s: FloatArray
) -> FloatArray:
    """Rotation that has wandered in since the first anchor, in rad, shape (k, 3)."""
    gathered = np.concatenate((np.zeros((1, 3)), np.cumsum(solution.random_walk_rad, axis=0)))
    return np.stack([np.interp(time_s, problem.anchors.time_s, g) for g in gathered.T], axis=1)
