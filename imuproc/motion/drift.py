"""Batch least squares for the errors of a strapdown solution.

All rests and stances of the run are used at once, with sensor errors, lever arm and the velocity
of each anchor among the unknowns, each with its prior standard deviation. The posterior covariance
is that of the estimates (linear Gaussian model; e.g. Kay 1993, *Estimation Theory*, ch. 12).
Stances that do not fit are weighed down (Huber 1964, Ann Math Stat 35:73).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.lapack import dtrtri

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.rotations import lengths, skew
from imuproc.motion.observations import Anchors, Blindness
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import (
    ERROR_TERMS,
    GYRO_TERMS,
    Sensitivity,
    Strapdown,
    along,
    at_times,
)

FloatArray = NDArray[np.float64]

_HUBER = 1.5
_REWEIGHTINGS = 4
_SETTLED = 0.01


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
    stance_misfit : ndarray, shape (a,)
        Residual of each anchor in standard deviations.
    prior_sd : ndarray, shape (u,)
        Of all unknowns, in the order errors, point, wander, velocity.
    ties : ndarray, shape (3 * (a - 1), u)
        Rows that tie neighbouring anchors, divided by their standard deviation.
    lower : ndarray, shape (u, u)
        Cholesky factor of the information about all unknowns in units of ``prior_sd``.
    """

    errors: FloatArray
    point: FloatArray
    wander_rad: FloatArray
    anchor_velocity_mps: FloatArray
    stance_misfit: FloatArray
    prior_sd: FloatArray
    ties: FloatArray
    lower: FloatArray

    def root(self) -> FloatArray:
        """Matrix L with covariance = L @ L.T of all unknowns, shape (u, u)."""
        inverse, _ = dtrtri(self.lower, lower=1)
        return np.asarray(self.prior_sd[:, None] * inverse.T)


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
    seen = _observations(problem, settings, prior_mean, prior_sd)
    ties = tie_rows * prior_sd
    fixed = ties.T @ ties + np.eye(len(prior_sd))
    fixed_right = ties.T @ (tie_values - tie_rows @ prior_mean)
    weight = np.ones(len(problem.anchors.time_s))
    for _ in range(_REWEIGHTINGS):
        information, right = seen.information(weight)
        factor = cho_factor(fixed + information, lower=True)
        unit = cho_solve(factor, fixed_right + right)
        misfit = seen.misfit(unit)
        before, weight = weight, np.minimum(1.0, _HUBER / np.maximum(misfit, 1e-9))
        if np.abs(weight - before).max() < _SETTLED:
            break
    value = prior_mean + prior_sd * unit
    point, wander, velocity = _sizes(problem)
    return DriftSolution(
        errors=value[:ERROR_TERMS],
        point=value[point:wander],
        wander_rad=value[wander:velocity].reshape(-1, 3),
        anchor_velocity_mps=value[velocity:].reshape(-1, 3),
        stance_misfit=misfit,
        prior_sd=prior_sd,
        ties=tie_rows,
        lower=np.tril(factor[0]),
    )


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
    gained = along(sens.velocity, sens.time_s, anchors.time_s)
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


@dataclass(frozen=True, eq=False)
class _Observations:
    """What is seen of velocity, each value in its own standard deviations, unknowns in prior ones.

    A value depends on the unknowns that all share (errors, point) and on its own anchor's velocity
    alone: only these blocks of the information are worked out.

    Parameters
    ----------
    shared : ndarray, shape (k, 3, s)
    own : ndarray, shape (k,)
        Answer to the velocity of the instant's own anchor.
    value : ndarray, shape (k, 3)
    anchor : ndarray of int, shape (k,)
    velocity_start, unknowns : int
        Where the anchors' velocities begin among all unknowns, and how many there are.
    """

    shared: FloatArray
    own: FloatArray
    value: FloatArray
    anchor: NDArray[np.int64]
    velocity_start: int
    unknowns: int

    def information(self, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Information matrix (u, u) and right-hand side (u,), anchors weighted, shape (a,)."""
        anchors, shared = len(weight), self.shared.shape[2]
        weighted = weight[self.anchor]
        flat = self.shared.reshape(-1, shared)
        gather = np.zeros((anchors, len(weighted)))
        gather[self.anchor, np.arange(len(weighted))] = weighted * self.own
        across = (gather @ self.shared.reshape(len(weighted), -1)).reshape(-1, shared)
        start, end = self.velocity_start, self.unknowns
        out, right = np.zeros((end, end)), np.zeros(end)
        out[:shared, :shared] = flat.T @ (flat * np.repeat(weighted, 3)[:, None])
        out[start:, :shared] = across
        out[:shared, start:] = across.T
        diagonal = np.arange(start, end)
        out[diagonal, diagonal] = np.repeat(gather @ self.own, 3)
        right[:shared] = flat.T @ (self.value * weighted[:, None]).ravel()
        right[start:] = (gather @ self.value).ravel()
        return out, right

    def misfit(self, unit: FloatArray) -> FloatArray:
        """RMS residual of each anchor, shape (a,), for given unknowns (u,)."""
        velocity = unit[self.velocity_start :].reshape(-1, 3)
        residual = self.value - self.shared @ unit[: self.shared.shape[2]]
        residual = residual - self.own[:, None] * velocity[self.anchor]
        squares = np.bincount(self.anchor, np.sum(residual**2, axis=1), len(velocity))
        return np.asarray(np.sqrt(squares / 3.0))


def _observations(
    problem: DriftProblem, settings: MotionSettings, prior_mean: FloatArray, prior_sd: FloatArray
) -> _Observations:
    """What is seen of velocity at each observation instant."""
    sens, anchors, strapdown = problem.sensitivity, problem.anchors, problem.strapdown
    shared, velocity_start = _sizes(problem)[1:]
    centre_s = anchors.time_s[anchors.sample_anchor]
    gained, nominal = (
        read(running, clock_s, anchors.sample_time_s) - read(running, clock_s, centre_s)
        for read, running, clock_s in (
            (along, sens.velocity, sens.time_s),
            (at_times, strapdown.velocity_mps, strapdown.time_s),
        )
    )
    rows = np.concatenate((gained, problem.point.rows), axis=2)
    stance = anchors.is_stance[anchors.sample_anchor]
    per_anchor = np.bincount(anchors.sample_anchor, minlength=len(anchors.time_s))
    sd = np.where(stance, problem.point.velocity_sd_mps, settings.rest_velocity_sd_mps)
    sd = sd * np.sqrt(per_anchor[anchors.sample_anchor])
    value = problem.point.target - nominal - rows @ prior_mean[:shared]
    return _Observations(
        shared=rows * prior_sd[:shared] / sd[:, None, None],
        own=prior_sd[velocity_start] / sd,
        value=value / sd[:, None],
        anchor=anchors.sample_anchor,
        velocity_start=velocity_start,
        unknowns=len(prior_sd),
    )


def tilt_spread(
    problem: DriftProblem, solution: DriftSolution, weights: FloatArray
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Standard uncertainty of combinations of the rotation's unknowns, and what causes add to it.

    A least-squares estimate is off by its covariance times each row's error, row by row; the
    squares of these shares add up to its whole variance (JCGM 100:2008, 5.1.2), so the share of
    one cause can be told.

    Parameters
    ----------
    problem : DriftProblem
    solution : DriftSolution
    weights : ndarray, shape (k, 24 + 3 * (a - 1))
        Of the gyro terms and the wander: as :func:`tilt_weights` gives them.

    Returns
    -------
    spread : ndarray, shape (k,)
    parts : dict
        ``clipping`` and ``rate``, shape (k,) each, in the unit of the combination.
    """
    _, wander_start, velocity_start = _sizes(problem)
    root, wander = solution.root(), slice(wander_start, velocity_start)
    weighted = weights @ np.concatenate((root[:GYRO_TERMS], root[wander]))
    ties = (weighted @ (solution.ties @ root).T) ** 2
    blind = problem.blind
    gathered = np.maximum(_between(problem, blind.velocity_variance), 1e-12)

    def of_ties(running: FloatArray) -> FloatArray:
        return np.asarray(ties @ np.repeat(_between(problem, running) / gathered, 3))

    clipped = of_ties(blind.clipped_velocity_variance)
    hidden = _between(problem, blind.rotation_sd_rad)
    hidden = hidden * _between(problem, blind.clipped_rotation_sd_rad)
    if hidden.any():
        wandered = (weighted @ root[wander].T / solution.prior_sd[wander]) ** 2
        clipped = clipped + wandered @ (np.repeat(hidden, 3) / solution.prior_sd[wander] ** 2)
    return lengths(weighted), {
        "clipping": np.sqrt(clipped),
        "rate": np.sqrt(of_ties(blind.undersampled_velocity_variance)),
    }


def tilt_weights(problem: DriftProblem, time_s: FloatArray, axis: FloatArray) -> FloatArray:
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
    tilt = along(problem.sensitivity.tilt, problem.sensitivity.time_s, time_s)
    gyro = sum(tilt[:, i] * axis[:, i, None] for i in range(3))
    wander = _wander_share(problem, time_s)[:, :, None] * axis[:, None, :]
    return np.concatenate((gyro, wander.reshape(len(axis), -1)), axis=1)


def _wander_share(problem: DriftProblem, time_s: FloatArray) -> FloatArray:
    """Share of each link's wander that has come in since the levelling, shape (k, links).

    Wander comes in evenly between neighbouring anchors; before the levelling it counts backwards.
    """
    anchors = problem.anchors.time_s
    length = np.diff(anchors).clip(1e-6)
    levelled_s = problem.strapdown.time_s[problem.strapdown.anchor_index]
    share = np.clip((time_s[:, None] - anchors[:-1]) / length, 0.0, 1.0)
    return np.asarray(share - np.clip((levelled_s - anchors[:-1]) / length, 0.0, 1.0))


def wandered_rad(problem: DriftProblem, solution: DriftSolution, time_s: FloatArray) -> FloatArray:
    """Rotation that has wandered in since the levelling, in rad, shape (k, 3)."""
    gathered = np.concatenate((np.zeros((1, 3)), np.cumsum(solution.wander_rad, axis=0)))
    levelled_s = problem.strapdown.time_s[problem.strapdown.anchor_index]
    anchors = problem.anchors.time_s
    return np.stack(
        [np.interp(time_s, anchors, g) - np.interp(levelled_s, anchors, g) for g in gathered.T],
        axis=1,
    )
