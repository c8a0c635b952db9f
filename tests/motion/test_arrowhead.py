"""The chain of stances gives what least squares on all rows at once gives."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import imuproc
from imuproc.dsp.rotations import skew
from imuproc.motion import segment
from imuproc.motion.arrowhead import Information, Links
from imuproc.motion.drift import DriftProblem, DriftSolution, solve
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import ERROR_TERMS, GYRO_TERMS, interpolate_along, interpolate_at
from imuproc.motion.tilt import compute_tilt_parts, compute_tilt_spread, compute_tilt_weights
from tests.simulated import make_run, plan_run


@cache
def solved(clipped: bool) -> list[tuple[DriftProblem, MotionSettings, DriftSolution]]:
    """Every problem that one run gives, with its solution."""
    recording, _ = make_run(plan_run(733, distance_m=20.0))
    if clipped:
        limit = np.radians(900.0)
        logs = {
            site: replace(
                log, gyro_radps=log.gyro_radps.clip(-limit, limit), gyro_range_radps=limit
            )
            for site, log in recording.logs.items()
        }
        recording = replace(recording, logs=logs)
    seen = []

    def kept(problem: DriftProblem, settings: MotionSettings) -> DriftSolution:
        seen.append((problem, settings, solve(problem, settings)))
        return seen[-1][2]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(segment, "solve", kept)
        imuproc.process(recording)
    return seen


def tie_rows(problem: DriftProblem) -> tuple[np.ndarray, np.ndarray]:
    """Rows that tie the velocities of neighbours, and values, divided by standard deviations.

    Unknowns here: errors, point, what wanders in along each link, velocity at each anchor.
    """
    sens, at_s = problem.sensitivity, problem.anchors.time_s
    shared, links = ERROR_TERMS + problem.point.rows.shape[2], len(at_s) - 1
    start = shared + 3 * links
    rows = np.zeros((links, 3, start + 3 * (links + 1)))
    rows[:, :, :ERROR_TERMS] = -np.diff(interpolate_along(sens.velocity, sens.time_s, at_s), axis=0)
    tilted = skew(np.diff(interpolate_at(sens.force_integral_mps, sens.time_s, at_s), axis=0))
    for link in range(links):
        for earlier in range(link + 1):
            at = shared + 3 * earlier
            rows[link, :, at : at + 3] = (0.5 if earlier == link else 1.0) * tilted[link]
        at = start + 3 * link
        rows[link, :, at : at + 6] = np.hstack((-np.eye(3), np.eye(3)))
    variance = between(problem, problem.blind.velocity_variance)
    sd = np.maximum(np.sqrt(variance), 1e-4)[:, None]
    values = between(problem, problem.strapdown.velocity_mps) / sd
    return (rows / sd[:, :, None]).reshape(3 * links, -1), values.ravel()


def between(problem: DriftProblem, running: np.ndarray) -> np.ndarray:
    return np.diff(
        interpolate_at(running, problem.strapdown.time_s, problem.anchors.time_s), axis=0
    )


def seen_rows(problem: DriftProblem, settings: MotionSettings) -> tuple[np.ndarray, np.ndarray]:
    """Rows of what is seen of velocity, shape (k, 3, u), and values."""
    sens, anchors, point = problem.sensitivity, problem.anchors, problem.point
    shared, own = ERROR_TERMS + point.rows.shape[2], anchors.sample_anchor
    start = shared + 3 * (len(anchors.time_s) - 1)
    rows = np.zeros((len(own), 3, start + 3 * len(anchors.time_s)))
    read = [anchors.sample_time_s, anchors.time_s[own]]
    late, early = (interpolate_along(sens.velocity, sens.time_s, at_s) for at_s in read)
    rows[:, :, :ERROR_TERMS], rows[:, :, ERROR_TERMS:shared] = late - early, point.rows
    for axis in range(3):
        rows[np.arange(len(own)), axis, start + 3 * own + axis] = 1.0
    velocity, clock_s = problem.strapdown.velocity_mps, problem.strapdown.time_s
    late, early = (interpolate_at(velocity, clock_s, at_s) for at_s in read)
    values = point.target - late + early
    for anchor in range(len(anchors.time_s)):
        at = own == anchor
        lower = np.linalg.cholesky(covariance_seen(problem, settings, anchor, int(at.sum())))
        rows[at] = np.linalg.solve(lower, rows[at].reshape(len(lower), -1)).reshape(rows[at].shape)
        values[at] = np.linalg.solve(lower, values[at])
    return rows, values


def covariance_seen(
    problem: DriftProblem, settings: MotionSettings, anchor: int, count: int
) -> np.ndarray:
    """Of the samples of one anchor, axis by axis: by themselves, and alike in all of a stance."""
    if not problem.anchors.is_stance[anchor]:
        return np.eye(count) * settings.rest_velocity_sd_mps**2 * count
    mean, within = problem.point.velocity_sd_mps**2, problem.point.within_sd_mps**2
    return np.eye(count) * within * count + (mean - within)


def priors(problem: DriftProblem, settings: MotionSettings) -> tuple[np.ndarray, np.ndarray]:
    at_s, point = problem.anchors.time_s, problem.point
    wander = np.radians(settings.wander_sd_deg_per_sqrt_s) * np.sqrt(np.diff(at_s))
    wander = np.repeat(np.hypot(wander, between(problem, problem.blind.rotation_sd_rad)), 3)
    sd = np.concatenate((problem.error_sd, point.prior_sd, wander, np.full(3 * len(at_s), 30.0)))
    mean = np.zeros(len(sd))
    mean[ERROR_TERMS : ERROR_TERMS + len(point.prior_sd)] = point.prior_mean
    if problem.put_in_rad is not None:
        first = ERROR_TERMS + len(point.prior_sd)
        mean[first : first + len(wander)] = -problem.put_in_rad.ravel()
    return mean, sd


def all_at_once(
    problem: DriftProblem, settings: MotionSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unknowns, root of their covariance and misfit, from all rows in one least squares."""
    ties, tie_values = tie_rows(problem)
    rows, values = seen_rows(problem, settings)
    mean, sd = priors(problem, settings)
    own, weight = problem.anchors.sample_anchor, np.ones(len(problem.anchors.time_s))
    for _ in range(4):
        root = np.sqrt(weight[own])[:, None]
        flat = (rows * root[:, :, None]).reshape(-1, len(sd))
        matrix = np.vstack((ties * sd, flat * sd, np.eye(len(sd))))
        right = np.concatenate((tie_values, (values * root).ravel(), mean / sd))
        orthogonal, upper = np.linalg.qr(matrix)
        unknowns = sd * np.linalg.solve(upper, orthogonal.T @ right)
        squares = np.sum((values - rows @ unknowns) ** 2, axis=1)
        misfit = np.sqrt(np.bincount(own, squares) / 3.0)
        before, weight = weight, np.minimum(1.0, 1.5 / misfit)
        if np.abs(weight - before).max() < 0.01:
            break
    return unknowns, sd[:, None] * np.linalg.inv(upper), misfit


@pytest.mark.parametrize("clipped", [False, True])
def test_the_chain_gives_what_all_rows_at_once_give(clipped: bool) -> None:
    for problem, settings, solution in solved(clipped)[:3]:
        unknowns, root, misfit = all_at_once(problem, settings)
        chained = (
            solution.errors,
            solution.point,
            solution.random_walk_rad,
            solution.anchor_velocity_mps,
        )
        found = np.concatenate([part.ravel() for part in chained])
        spread = np.linalg.norm(root, axis=1)
        assert np.abs((found - unknowns) / spread).max() < 1e-6
        np.testing.assert_allclose(solution.stance_misfit, misfit, rtol=1e-6)
        covariance = solution.factor.compute_covariance() * np.outer(
            solution.prior_sd, solution.prior_sd
        )
        shared = len(solution.prior_sd)
        np.testing.assert_allclose(np.sqrt(np.diag(covariance)), spread[:shared], rtol=1e-6)


@pytest.mark.parametrize("clipped", [False, True])
def test_spread_and_its_parts_are_those_of_the_whole_covariance(clipped: bool) -> None:
    problem, settings, solution = solved(clipped)[0]
    _, root, _ = all_at_once(problem, settings)
    at_s = np.linspace(*problem.strapdown.time_s[[0, -1]], 50)
    weights = compute_tilt_weights(problem, at_s, np.tile([0.1, 0.9, 0.2], (50, 1)))
    spread, parts = (
        compute_tilt_spread(solution, weights),
        compute_tilt_parts(problem, solution, weights),
    )
    wander = ERROR_TERMS + len(solution.point)
    terms = [*range(GYRO_TERMS), *range(wander, wander + solution.random_walk_rad.size)]
    combined = weights @ root[terms]
    np.testing.assert_allclose(spread, np.linalg.norm(combined, axis=1), rtol=1e-6)

    def share(running: np.ndarray) -> np.ndarray:
        whole = np.maximum(between(problem, problem.blind.velocity_variance), 1e-12)
        return np.repeat(between(problem, running) / whole, 3)

    ties = (combined @ (tie_rows(problem)[0] @ root).T) ** 2
    of_rate = ties @ share(problem.blind.undersampled_velocity_variance)
    np.testing.assert_allclose(parts["rate"], np.sqrt(of_rate), rtol=1e-6, atol=1e-12)
    sd = priors(problem, settings)[1][wander : wander + solution.random_walk_rad.size]
    wandered = (combined @ (root[terms[GYRO_TERMS:]] / sd[:, None]).T) ** 2
    hidden = between(problem, problem.blind.rotation_sd_rad)
    hidden = hidden * between(problem, problem.blind.clipped_rotation_sd_rad)
    of_clipping = ties @ share(problem.blind.clipped_velocity_variance)
    of_clipping = of_clipping + wandered @ (np.repeat(hidden, 3) / sd**2)
    np.testing.assert_allclose(parts["clipping"], np.sqrt(of_clipping), rtol=1e-6, atol=1e-12)
    assert (parts["clipping"].max() > 1e-3) == clipped


def test_a_chain_of_many_states_is_solved_as_its_whole_matrix_is() -> None:
    rng = np.random.default_rng(3)
    links = Links(rng.normal(size=(9, 3, 4)), rng.normal(size=(9, 3, 5)))
    diagonal, nothing = np.ones((10, 2)), np.zeros((10, 2, 5))
    factor = Information.from_links(links).add(diagonal, nothing, np.eye(5)).factor()
    rows = np.zeros((27, 25))
    for link in range(9):
        rows[3 * link : 3 * link + 3, 2 * link : 2 * link + 4] = links.states[link]
        rows[3 * link : 3 * link + 3, 20:] = links.shared[link]
    whole = rows.T @ rows + np.eye(25)
    right = rng.normal(size=(25, 7))
    chain, shared = factor.solve(right[:20].reshape(10, 2, 7), right[20:])
    expected = np.linalg.solve(whole, right)
    np.testing.assert_allclose(np.concatenate((chain.reshape(20, 7), shared)), expected, rtol=1e-9)
    np.testing.assert_allclose(
        factor.compute_covariance(), np.linalg.inv(whole)[20:, 20:], rtol=1e-9
    )
