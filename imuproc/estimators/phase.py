"""Phase of each step: drive, transition, upright, slowing.

A phase is told by how much speed a step gains, as a share of top speed, and never by an angle or a
time that is judged by phase. Single steps are too noisy for that, and left and right differ: a
curve is fitted to all steps. Speed rises as v = V (1 - a exp(-(n - 1) / N)) with step number n; an
exponential fits group means with r² > 0.99, without breaks (24 sprinters, PLoS ONE 2016,
10.1371/journal.pone.0159701). What is known of starts goes into it as a prior, and decides alone
where no speed is known. The bounds follow coaching use (common practice, no source): with usual
starts drive ends near the 8th step and transition near the 16th.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from imuproc.dsp.filters import smooth_binomially
from imuproc.files.settings_model import JUDGEMENT, PRACTICE, StageSettings, number

FloatArray = NDArray[np.float64]

PHASES = ("drive", "transition", "upright", "slowing")
_SURE: Final = 0.95
_MOST_ROUNDS: Final = 40
_CLOSE: Final = 1e-6
_LEAST: Final = np.array([-1.0, 0.0, np.log(1.5), -0.3])
_MOST: Final = np.array([1.0, 0.95, np.log(30.0), 0.3])
"""Bounds of what is fitted: far beyond what sprinters do."""


class PhaseSettings(StageSettings):
    """Bounds of the phases, and what is known of starts."""

    basis = "coaching use (common practice, no source), with an exponential rise of speed"
    drive_gain: float = number(
        0.03,
        (0.0, 1.0),
        "Least gain of speed per step in the drive phase, as a share of the run's top speed.",
        unit="",
    )
    transition_gain: float = number(
        0.0075, (0.0, 1.0), "Least gain of speed per step in the transition phase.", unit=""
    )
    slowing_share: float = number(
        0.96,
        (0.1, 1.0),
        "Steps after the last one that reaches this share of top speed are slowing.",
    )
    rise_steps: float = number(
        5.2,
        (1.5, 30.0),
        "Steps in which what is lacking of top speed falls to 37 % of it: what is expected.",
        "time constants of 1.1 to 1.4 s (from memory) at 4.2 steps a second",
    )
    rise_steps_factor: float = number(
        1.3, (1.01, 3.0), "Standard uncertainty of rise_steps, as a factor.", JUDGEMENT, unit=""
    )
    start_share: float = number(
        0.6,
        (0.05, 0.95),
        "What step 1 out of a start lacks of top speed, as a share of it: what is expected.",
        "3.5 to 4.5 m/s of 9 to 11 m/s: Slawinski et al. 2017 and common practice",
    )
    start_share_u: float = number(
        0.08, (0.001, 1.0), "Standard uncertainty of start_share.", JUDGEMENT, unit=""
    )
    rolling_share_u: float = number(
        0.25,
        (0.001, 1.0),
        "Standard uncertainty of what step 1 lacks after a rolling start or on a treadmill, where "
        "nothing is expected to be lacking.",
        JUDGEMENT,
        unit="",
    )
    step_scatter_share: float = number(
        0.02,
        (0.0, 0.5),
        "Standard deviation of single steps about the curve beside their own uncertainty, as a "
        "share of top speed.",
        JUDGEMENT,
    )
    side_scatter_share: float = number(
        0.03,
        (0.001, 0.5),
        "What all steps of one side may be slower or faster by: standard deviation as a share of "
        "their speed.",
        JUDGEMENT,
    )
    curve_u_share: float = number(
        0.15,
        (0.0, 1.0),
        "Standard uncertainty of a gain that the curve leaves, as a share of it: sprinters do not "
        "run by formula.",
        JUDGEMENT,
    )
    least_drive_steps: int = number(
        3, (0, 20), "A crouched start has no shorter drive phase.", PRACTICE
    )

    ordered = (("transition_gain", "drive_gain"),)


@dataclass(frozen=True, eq=False)
class StepSpeeds:
    """Speed of each step, shape (m,) each.

    Parameters
    ----------
    number : ndarray
        Step number; with one leg alone every second one is there.
    left : ndarray of bool
    speed_mps, u_mps : ndarray
        NaN where missing.
    """

    number: FloatArray
    left: NDArray[np.bool_]
    speed_mps: FloatArray
    u_mps: FloatArray


@dataclass(frozen=True, eq=False)
class Phases:
    """Phase of each step, shape (m,) each.

    Parameters
    ----------
    phase : ndarray of str
        In the order of :data:`PHASES`, each at most once.
    alternative : ndarray of str
        The neighbouring phase where the step may as well belong to it; empty where it is sure.
    """

    phase: NDArray[Any]
    alternative: NDArray[Any]


def find_phases(steps: StepSpeeds, start: str, settings: PhaseSettings) -> Phases:
    """Phase of each step.

    Parameters
    ----------
    steps : StepSpeeds
    start : str
        ``rolling``, also for treadmills: there is no drive phase. ``standing``: there is one.
        Anything else is crouched: there is one of at least ``least_drive_steps``.
    settings : PhaseSettings

    Returns
    -------
    Phases

    See Also
    --------
    imuproc.pipeline.table.make_result : from motion and contacts to the step table.

    Examples
    --------
    >>> number = np.arange(1.0, 25.0)
    >>> speed_mps = 9.0 * (1.0 - 0.75 * np.exp(-number / 5.0))
    >>> steps = StepSpeeds(number, number % 2 == 0, speed_mps, np.full(24, 0.05))
    >>> found = find_phases(steps, "blocks", PhaseSettings())
    >>> [int((found.phase == phase).sum()) for phase in ("drive", "transition", "upright")]
    [8, 6, 10]
    """
    slowing_at, slowing_other = _find_slowing(steps, settings)
    # Slowing begins within a step, so the last one before it is no part of the rise either.
    rising = np.arange(len(steps.number)) < slowing_at - (slowing_at < len(steps.number))
    gain, gain_u = _fit_gains(steps, rising, start, settings)
    bounds = np.array([settings.drive_gain, settings.transition_gain])
    above = ndtr((gain[:, None] - bounds) / gain_u[:, None])
    if start == "rolling":
        above[:, 0] = 0.0
    elif start != "standing":
        above[steps.number <= settings.least_drive_steps] = 1.0
    rank = 2 - (above >= 0.5).sum(axis=1)
    other = np.full(len(rank), -1)
    for bound in (0, 1):
        unsure = (above[:, bound] > 1.0 - _SURE) & (above[:, bound] < _SURE)
        before, behind = unsure & (rank == bound), unsure & (rank == bound + 1)
        other[before], other[behind] = bound + 1, bound
    late = np.arange(len(rank)) >= slowing_at
    other[late] = -1
    other[slowing_other] = np.where(late, rank, 3)[slowing_other]
    rank[late] = 3
    names = np.array([*PHASES, ""], dtype="<U10")
    return Phases(names[rank], names[other])


def _fit_gains(
    steps: StepSpeeds, used: NDArray[np.bool_], start: str, settings: PhaseSettings
) -> tuple[FloatArray, FloatArray]:
    """Gain of speed per step as a share of top speed, and its standard uncertainty."""
    lacking, rise, covariance = _fit_rise(steps, used, start, settings)
    away = (steps.number - 1.0) / rise
    per_lacking = np.exp(-away) / rise
    gain = lacking * per_lacking
    slopes = np.stack([per_lacking, gain * (away - 1.0)])
    variance = np.einsum("in,ij,jn->n", slopes, covariance, slopes)
    return gain, np.sqrt(variance + (settings.curve_u_share * gain) ** 2 + 1e-12)


def _fit_rise(
    steps: StepSpeeds, used: NDArray[np.bool_], start: str, settings: PhaseSettings
) -> tuple[float, float, FloatArray]:
    """What step 1 lacks, N, and the covariance of the former with the logarithm of the latter."""
    rolling = start == "rolling"
    share = 0.0 if rolling else settings.start_share
    share_u = settings.rolling_share_u if rolling else settings.start_share_u
    known = used & np.isfinite(steps.speed_mps)
    n = steps.number[known] - 1.0
    side = np.where(steps.left[known], 1.0, -1.0)
    speed = steps.speed_mps[known]
    top = float(np.max(speed, initial=1.0))
    scatter = np.hypot(np.nan_to_num(steps.u_mps[known]), settings.step_scatter_share * top)
    prior = np.array([0.0, share, np.log(settings.rise_steps), 0.0])
    rise_u = np.log(settings.rise_steps_factor)
    prior_u = np.array([1.0, share_u, rise_u, settings.side_scatter_share])
    theta, covariance, spread = prior, np.diag(prior_u**2), 1.0
    for _ in range(_MOST_ROUNDS):
        model, slopes = _compute_rise(theta, n, side, top)
        misfit = (speed - model) / scatter
        # Steps far off the curve pull less: soft L1 loss.
        weight = 1.0 / np.sqrt(1.0 + misfit**2)
        weighted = slopes * weight / scatter**2
        covariance = np.linalg.inv(weighted @ slopes.T + np.diag(prior_u**-2.0))
        pull = weighted @ (speed - model) + (prior - theta) / prior_u**2
        moved = np.clip(theta + covariance @ pull, _LEAST, _MOST)
        spread = float((weight * misfit**2).mean()) if len(n) > 4 else 1.0
        done = np.abs(moved - theta).max() < _CLOSE
        theta = moved
        if done:
            break
    return float(theta[1]), float(np.exp(theta[2])), covariance[1:3, 1:3] * max(1.0, spread)


def _compute_rise(
    theta: FloatArray, n: FloatArray, side: FloatArray, top_mps: float
) -> tuple[FloatArray, FloatArray]:
    """Speed of steps in m/s, shape (m,), and its slopes, shape (4, m).

    ``theta`` is the logarithm of top speed over ``top_mps``, what step 1 lacks, the logarithm of N,
    and what one side is faster by.
    """
    level, lacking, rise, sided = theta
    top = top_mps * np.exp(level)
    left = np.exp(-n / np.exp(rise))
    even, by_side = top * (1.0 - lacking * left), 1.0 + sided * side
    slopes = np.stack(
        [
            even * by_side,
            -top * left * by_side,
            -top * lacking * left * (n / np.exp(rise)) * by_side,
            even * side,
        ]
    )
    return even * by_side, slopes


def _find_slowing(steps: StepSpeeds, settings: PhaseSettings) -> tuple[int, NDArray[np.bool_]]:
    """Index of the first slowing step, and which steps beside it may belong to either side."""
    count = len(steps.number)
    known = np.isfinite(steps.speed_mps)
    unsure = np.zeros(count, dtype=bool)
    if known.sum() < max(4, 0.6 * count):
        return count, unsure
    share = smooth_binomially(np.interp(steps.number, steps.number[known], steps.speed_mps[known]))
    share /= share.max()
    # From the last fast step on: a step measured slow amid fast ones is not the end of the effort.
    until_top = np.arange(count) <= np.argmax(share)
    at = int(np.flatnonzero(until_top | (share >= settings.slowing_share))[-1]) + 1
    u = 0.6 * np.hypot(np.nanmedian(steps.u_mps / steps.speed_mps), settings.step_scatter_share)
    below = settings.slowing_share - share
    if below[at:].max(initial=-1.0) < 2.0 * u:  # scatter, as far as can be told
        return count, unsure
    near = np.abs(below) < 2.0 * u
    before = np.flatnonzero(~near[:at] | until_top[:at])
    after = np.flatnonzero(~near[at:])
    unsure[int(before[-1]) + 1 : at + int(after[0])] = True
    return at, unsure
