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


def gain_between(problem: DriftProblem, running: FloatArray) -> FloatArray:
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
    gathered = np.sqrt(gain_between(problem, problem.blind.velocity_variance))
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
    return np.asarray(np.hypot(wander, gain_between(problem, problem.blind.rotation_sd_rad)))


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
