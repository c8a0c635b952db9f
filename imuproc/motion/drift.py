"""Batch least squares for the errors of a strapdown solution.

All rests and stances of the run are used at once, with sensor errors, lever arm and the velocity
of each anchor among the unknowns, each with its prior standard deviation. The posterior covariance
is that of the estimates (linear Gaussian model; e.g. Kay 1993, *Estimation Theory*, ch. 12).
Stances that do not fit are weighed down (Huber 1964, Ann Math Stat 35:73).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.rotations import skew
from imuproc.motion.observations import Anchors, Blindness
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import ERROR_TERMS, GYRO_TERMS, Sensitivity, Strapdown, at_times

FloatArray = NDArray[np.float64]

_HUBER = 1.5
_REWEIGHTINGS = 4


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
        Per stance.
    """

    rows: FloatArray
    target: FloatArray
    prior_mean: FloatArray
    prior_sd: FloatArray
    velocity_sd_mps: float


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
    """

    strapdown: Strapdown
    sensitivity: Sensitivity
    anchors: Anchors
    point: PointModel
    error_sd: FloatArray
    blind: Blindness


@dataclass(frozen=True, eq=False)
class DriftSolution:
    """Estimated errors and their covariance.

    Parameters
    ----------
    errors : ndarray, shape (30,)
    point : ndarray, shape (q,)
    wander_rad : ndarray, shape (a - 1, 3)
        Extra rotation gathered between neighbouring anchors.
    anchor_velocity_mps : ndarray, shape (a, 3)
    root : ndarray, shape (u, u)
        Matrix L with covariance = L @ L.T of all unknowns, in the order errors, point, wander,
        velocity.
    stance_misfit : ndarray, shape (a,)
        Residual of each anchor in standard deviations.
    prior_sd : ndarray, shape (u,)
        Of all unknowns.
    """

    errors: FloatArray
    point: FloatArray
    wander_rad: FloatArray
    anchor_velocity_mps: FloatArray
    root: FloatArray
    stance_misfit: FloatArray
    prior_sd: FloatArray


def error_prior_sd(
    settings: MotionSettings, gyro_bias_u_radps: float, heading_sd_rad: float
) -> FloatArray:
    """Prior standard deviation of each error term, shape (30,)."""
    g_sensitivity = np.radians(settings.g_sensitivity_sd_degps_per_g) / STANDARD_GRAVITY_MPS2
    return np.concatenate(
        (
            [np.radians(2.0), np.radians(2.0), heading_sd_rad],
            np.full(3, gyro_bias_u_radps),
            np.full(9, settings.gyro_matrix_sd),
            np.full(9, g_sensitivity),
            np.full(3, settings.accel_bias_sd_mps2),
            np.full(3, settings.accel_scale_sd),
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
    prior_mean, prior_sd = _priors(problem, settings)
    tie_rows, tie_values = _tie_rows(problem)
    see_rows, see_values, see_sd = _observation_rows(problem, settings)
    ties = tie_rows * prior_sd
    fixed = ties.T @ ties + np.eye(len(prior_sd))
    fixed_right = ties.T @ (tie_values - tie_rows @ prior_mean)
    see = see_rows * prior_sd / see_sd[:, None]
    see_right = (see_values - see_rows @ prior_mean) / see_sd
    owner = np.repeat(problem.anchors.sample_anchor, 3)
    count = len(problem.anchors.time_s)
    weight = np.ones(count)
    misfit = np.zeros(count)
    for _ in range(_REWEIGHTINGS):
        weighted = see * weight[owner][:, None]
        factor = cho_factor(fixed + weighted.T @ see, lower=True)
        unit = cho_solve(factor, fixed_right + weighted.T @ see_right)
        residual = see_right - see @ unit
        misfit = np.sqrt(np.bincount(owner, residual**2, count) / 3.0)
        weight = np.minimum(1.0, _HUBER / np.maximum(misfit, 1e-9))
    lower = np.tril(factor[0])
    root = prior_sd[:, None] * solve_triangular(lower, np.eye(len(lower)), lower=True).T
    value = prior_mean + prior_sd * unit
    return _unpack(problem, value, root, misfit, prior_sd)


def _sizes(problem: DriftProblem) -> tuple[int, int, int]:
    """Start of the point, wander and velocity unknowns."""
    point = ERROR_TERMS
    wander = point + problem.point.rows.shape[2]
    return point, wander, wander + 3 * (len(problem.anchors.time_s) - 1)


def _priors(problem: DriftProblem, settings: MotionSettings) -> tuple[FloatArray, FloatArray]:
    wander_start = _sizes(problem)[1]
    anchors = len(problem.anchors.time_s)
    mean = np.zeros(wander_start + 3 * (anchors - 1) + 3 * anchors)
    mean[ERROR_TERMS:wander_start] = problem.point.prior_mean
    duration = np.maximum(np.diff(problem.anchors.time_s), 1e-3)
    wander = np.hypot(
        np.radians(settings.wander_sd_deg_per_sqrt_s) * np.sqrt(duration),
        _between(problem, problem.blind.rotation_sd_rad),
    )
    sd = np.concatenate(
        (problem.error_sd, problem.point.prior_sd, np.repeat(wander, 3), np.full(3 * anchors, 30.0))
    )
    return mean, sd


def _between(problem: DriftProblem, running: FloatArray) -> FloatArray:
    """What a running quantity gains from each anchor to the next, shape (a - 1,)."""
    return np.diff(at_times(running, problem.strapdown.time_s, problem.anchors.time_s))


def _tie_rows(problem: DriftProblem) -> tuple[FloatArray, FloatArray]:
    """Rows that tie the velocities of neighbouring anchors, already divided by their sd."""
    sens, anchors = problem.sensitivity, problem.anchors
    _, wander_start, velocity_start = _sizes(problem)
    links = len(anchors.time_s) - 1
    rows = np.zeros((links, 3, velocity_start + 3 * (links + 1)))
    gained = at_times(sens.velocity, sens.time_s, anchors.time_s)
    rows[:, :, :ERROR_TERMS] = -np.diff(gained, axis=0)
    # A rotation gathered in an earlier link tilts the whole force of this one, its own half of it.
    force = np.diff(at_times(sens.force_integral_mps, sens.time_s, anchors.time_s), axis=0)
    earlier = np.tril(np.ones((links, links)), -1) + 0.5 * np.eye(links)
    tilted = -skew(force)
    wander = -tilted[:, :, None, :] * earlier[:, None, :, None]
    rows[:, :, wander_start:velocity_start] = wander.reshape(links, 3, 3 * links)
    link, axis = np.meshgrid(np.arange(links), np.arange(3), indexing="ij")
    rows[link, axis, velocity_start + 3 * link + axis] = -1.0
    rows[link, axis, velocity_start + 3 * (link + 1) + axis] = 1.0
    nominal = at_times(problem.strapdown.velocity_mps, problem.strapdown.time_s, anchors.time_s)
    gathered = np.sqrt(_between(problem, problem.blind.velocity_variance))
    sd = np.maximum(np.repeat(gathered, 3), 1e-4)
    flat = rows.reshape(3 * links, -1)
    return flat / sd[:, None], np.diff(nominal, axis=0).ravel() / sd


def _observation_rows(
    problem: DriftProblem, settings: MotionSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rows that say what the velocity is at each observation instant, and their sd."""
    sens, anchors, strapdown = problem.sensitivity, problem.anchors, problem.strapdown
    point_start, wander_start, velocity_start = _sizes(problem)
    count = len(anchors.sample_time_s)
    centre_s = anchors.time_s[anchors.sample_anchor]
    rows = np.zeros((count, 3, velocity_start + 3 * len(anchors.time_s)))
    rows[:, :, :ERROR_TERMS] = at_times(sens.velocity, sens.time_s, anchors.sample_time_s)
    rows[:, :, :ERROR_TERMS] -= at_times(sens.velocity, sens.time_s, centre_s)
    rows[:, :, point_start:wander_start] = problem.point.rows
    sample, axis = np.meshgrid(np.arange(count), np.arange(3), indexing="ij")
    rows[sample, axis, velocity_start + 3 * anchors.sample_anchor[:, None] + axis] = 1.0
    gained = at_times(strapdown.velocity_mps, strapdown.time_s, anchors.sample_time_s)
    gained -= at_times(strapdown.velocity_mps, strapdown.time_s, centre_s)
    stance = anchors.is_stance[anchors.sample_anchor]
    per_anchor = np.bincount(anchors.sample_anchor, minlength=len(anchors.time_s))
    sd = np.where(stance, problem.point.velocity_sd_mps, settings.rest_velocity_sd_mps)
    sd = sd * np.sqrt(per_anchor[anchors.sample_anchor])
    return rows.reshape(3 * count, -1), (problem.point.target - gained).ravel(), np.repeat(sd, 3)


def _unpack(
    problem: DriftProblem,
    value: FloatArray,
    root: FloatArray,
    misfit: FloatArray,
    prior_sd: FloatArray,
) -> DriftSolution:
    point_start, wander_start, velocity_start = _sizes(problem)
    return DriftSolution(
        errors=value[:ERROR_TERMS],
        point=value[point_start:wander_start],
        wander_rad=value[wander_start:velocity_start].reshape(-1, 3),
        anchor_velocity_mps=value[velocity_start:].reshape(-1, 3),
        root=root,
        stance_misfit=misfit,
        prior_sd=prior_sd,
    )


def unseen_parts(
    problem: DriftProblem, solution: DriftSolution, rows: FloatArray
) -> dict[str, FloatArray]:
    """What clipping and undersampling add to the standard uncertainty of a combination of unknowns.

    A least-squares estimate is off by its covariance times each row's error, row by row; the
    squares of these shares add up to its whole variance (JCGM 100:2008, 5.1.2), so the share of
    one cause can be told.

    Parameters
    ----------
    problem : DriftProblem
    solution : DriftSolution
    rows : ndarray, shape (k, u)
        Weights of the unknowns.

    Returns
    -------
    dict
        ``clipping`` and ``rate``, shape (k,) each, in the unit of the combination.
    """
    _, wander_start, velocity_start = _sizes(problem)
    answer = (rows @ solution.root) @ solution.root.T
    ties = (answer @ _tie_rows(problem)[0].T) ** 2
    blind, wander = problem.blind, slice(wander_start, velocity_start)
    wandered = (answer[:, wander] / solution.prior_sd[wander]) ** 2
    gathered = np.maximum(_between(problem, blind.velocity_variance), 1e-12)

    def of_ties(running: FloatArray) -> FloatArray:
        return np.asarray(ties @ np.repeat(_between(problem, running) / gathered, 3))

    hidden = _between(problem, blind.rotation_sd_rad)
    hidden = hidden * _between(problem, blind.clipped_rotation_sd_rad)
    clipped = wandered @ (np.repeat(hidden, 3) / solution.prior_sd[wander] ** 2)
    return {
        "clipping": np.sqrt(clipped + of_ties(blind.clipped_velocity_variance)),
        "rate": np.sqrt(of_ties(blind.undersampled_velocity_variance)),
    }


def tilt_rows(problem: DriftProblem, time_s: FloatArray) -> FloatArray:
    """Rotation error in world axes per unit of every unknown, shape (k, 3, u)."""
    _, wander_start, velocity_start = _sizes(problem)
    anchors = problem.anchors.time_s
    rows = np.zeros((len(time_s), 3, velocity_start + 3 * len(anchors)))
    rows[:, :, :GYRO_TERMS] = at_times(problem.sensitivity.tilt, problem.sensitivity.time_s, time_s)
    links = len(anchors) - 1
    share = wander_share(problem, time_s)
    wander = share[:, None, :, None] * np.eye(3)[None, :, None, :]
    rows[:, :, wander_start:velocity_start] = wander.reshape(len(time_s), 3, 3 * links)
    return rows


def wander_share(problem: DriftProblem, time_s: FloatArray) -> FloatArray:
    """Share of each link's wander that has come in since the levelling, shape (k, links).

    Wander comes in evenly between neighbouring anchors; before the levelling it counts backwards.
    """
    anchors = problem.anchors.time_s
    length = np.diff(anchors).clip(1e-6)
    levelled_s = problem.strapdown.time_s[problem.strapdown.anchor_index]
    share = np.clip((time_s[:, None] - anchors[:-1]) / length, 0.0, 1.0)
    return np.asarray(share - np.clip((levelled_s - anchors[:-1]) / length, 0.0, 1.0))
