"""Limits of agreement of steps nested in athletes.

Steps of one athlete are alike: taken as independent they make limits too narrow and intervals far
too narrow. Both forms add the variance between athletes to that within.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from imuproc.agreement.events import FloatArray
from imuproc.agreement.statistics.limits import (
    FEWEST_PAIRS_COUNT,
    LIMIT_SD_RATIO,
    Limits,
    Margins,
    Spread,
    make_limits,
    withhold_limits,
)


@dataclass(frozen=True)
class Variances:
    """Parts of the variance of a difference.

    Parameters
    ----------
    between, within : float
        Mean squares.
    between_weight, within_weight : float
        The whole variance is their sum with these weights.
    athletes, n : int
    """

    between: float
    within: float
    between_weight: float
    within_weight: float
    athletes: int
    n: int

    @property
    def total(self) -> float:
        """Variance of a single difference."""
        return self.between_weight * self.between + self.within_weight * self.within


@dataclass(frozen=True, eq=False)
class _Groups:
    """Values by athlete."""

    count: FloatArray
    mean: FloatArray
    squares: float  # sum of squares within

    @property
    def n(self) -> int:
        return int(self.count.sum())


def _group_values(values: FloatArray, codes: NDArray[np.intp]) -> _Groups:
    count = np.bincount(codes).astype(np.float64)
    mean = np.bincount(codes, values) / count
    return _Groups(count, mean, float(np.sum((values - mean[codes]) ** 2)))


def nested_limits(difference: ArrayLike, athlete: ArrayLike, level: float = 0.95) -> Limits:
    """Limits where the true value varies from step to step within an athlete.

    Bland & Altman 2007, J Biopharm Stat 17:571, section 3: one-way analysis of variance of the
    differences, s² = MSw + (MSb - MSw)/n0. The bias is the mean of all steps. Intervals: variance
    estimates recovery (MOVER; Zou 2013, Stat Methods Med Res 22:630; from memory) with the mean
    squares' chi-squared bounds, Student's t with one degree of freedom less than athletes for the
    bias.

    Parameters
    ----------
    difference : array, shape (n,)
        NaN are left out.
    athlete : array, shape (n,)
        Whom each step belongs to.
    level : float

    Returns
    -------
    Limits
        Only the bias with fewer than three steps, two athletes, or one step for each.
    """
    method = "steps nested in athletes, true value varies (2007 form), MOVER interval"
    d, codes = _encode_athletes(np.asarray(difference, dtype=np.float64), athlete)
    athletes = len(set(codes))
    why = _explain_too_few(len(d), athletes)
    if why:
        return withhold_limits(len(d), athletes, float(d.mean()) if len(d) else np.nan, method, why)
    groups = _group_values(d, codes)
    n0 = (groups.n - np.sum(groups.count**2) / groups.n) / (athletes - 1)
    grand = float(d.mean())
    between = float(np.sum(groups.count * (groups.mean - grand) ** 2) / (athletes - 1))
    within = groups.squares / (groups.n - athletes)
    # Negative parts count as none: the whole is then the mean square within.
    weight = (1.0 / n0, 1.0 - 1.0 / n0) if between > within else (0.0, 1.0)
    parts = Variances(between, within, *weight, athletes, groups.n)
    excess = max(between - within, 0.0) / n0
    mean_variance = excess * np.sum(groups.count**2) / groups.n**2 + within / groups.n
    return _compute_intervals(grand, float(mean_variance), parts, level, method)


def _encode_athletes(values: FloatArray, athlete: ArrayLike) -> tuple[FloatArray, NDArray[np.intp]]:
    """Finite values, and their athletes as numbers from 0 on."""
    names = np.asarray(athlete, dtype=object)
    if names.shape != values.shape:
        raise ValueError("differences and athletes must be of the same length")
    used = np.isfinite(values)
    return values[used], np.unique(names[used].astype(str), return_inverse=True)[1]


def _explain_too_few(n: int, athletes: int) -> str:
    """Why no limits can be given; empty if they can."""
    if n < FEWEST_PAIRS_COUNT:
        return f"{n} pairs: at least {FEWEST_PAIRS_COUNT} are needed for limits."
    if athletes < 2:
        return "One athlete: what differs between athletes is not seen."
    if n <= athletes:
        return "One step for each athlete: these are independent pairs, not nested ones."
    return ""


def _compute_intervals(
    bias: float, mean_variance: float, parts: Variances, level: float, method: str
) -> Limits:
    """Limits with intervals by variance estimates recovery."""
    tail = 0.5 + 0.5 * level
    k, n = parts.athletes, parts.n
    t = float(stats.t.ppf(tail, k - 1))
    weighted = np.array([parts.between_weight * parts.between, parts.within_weight * parts.within])
    freedom = np.array([k - 1, n - k])
    below = weighted * (1.0 - freedom / stats.chi2.ppf(tail, freedom))
    above = weighted * (freedom / stats.chi2.ppf(1.0 - tail, freedom) - 1.0)
    sd = float(np.sqrt(parts.total))
    sd_low = float(np.sqrt(max(parts.total - np.sqrt(np.sum(below**2)), 0.0)))
    sd_high = float(np.sqrt(parts.total + np.sqrt(np.sum(above**2))))
    half = t * float(np.sqrt(mean_variance))
    near = float(np.hypot(half, LIMIT_SD_RATIO * (sd - sd_low)))
    far = float(np.hypot(half, LIMIT_SD_RATIO * (sd_high - sd)))
    return make_limits(Spread(n, k, bias, sd), Margins(half, near, far), method)
