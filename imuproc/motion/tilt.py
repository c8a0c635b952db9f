"""What the batch solution leaves uncertain of the rotation, and what wanders in over a run."""

import numpy as np
from numpy.typing import NDArray

from imuproc.motion.arrowhead import Factor
from imuproc.motion.drift import DriftProblem, DriftSolution, gain_between
from imuproc.motion.strapdown import GYRO_TERMS, interpolate_along

FloatArray = NDArray[np.float64]


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
    gathered = np.maximum(gain_between(problem, blind.velocity_variance), 1e-12)
    hidden = gain_between(problem, blind.rotation_sd_rad)
    hidden = hidden * gain_between(problem, blind.clipped_rotation_sd_rad)
    clipped = gain_between(problem, blind.clipped_velocity_variance) / gathered
    undersampled = gain_between(problem, blind.undersampled_velocity_variance) / gathered
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
