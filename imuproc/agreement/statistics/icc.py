"""Intraclass correlation, with the model named.

Shrout & Fleiss 1979, Psychol Bull 86:420; intervals also as in McGraw & Wong 1996, Psychol Methods
1:30 (from memory).
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from imuproc.agreement.events import FloatArray
from imuproc.agreement.statistics.limits import FEWEST_PAIRS_COUNT

Model = Literal["1,1", "2,1", "3,1", "1,k", "2,k", "3,k"]

MODELS: Final[dict[Model, str]] = {
    "1,1": "one-way random, single measurement",
    "2,1": "two-way random, absolute agreement, single measurement",
    "3,1": "two-way mixed, consistency, single measurement",
    "1,k": "one-way random, mean of the measurements",
    "2,k": "two-way random, absolute agreement, mean of the measurements",
    "3,k": "two-way mixed, consistency, mean of the measurements",
}

_ROUNDING_COUNT: Final = 16.0
"""Deviations from a mean this many roundings of the largest value wide count as none."""


@dataclass(frozen=True)
class MeanSquares:
    """Two-way analysis of variance without replicates: n targets, k judges."""

    targets: float
    within: float
    judges: float
    error: float
    n: int
    k: int


@dataclass(frozen=True)
class IntraclassCorrelation:
    """An intraclass correlation and its interval; NaN with a note where it cannot be given."""

    value: float
    low: float
    high: float
    model: Model
    meaning: str
    n: int
    note: str = ""


def mean_squares(scores: ArrayLike) -> MeanSquares:
    """Mean squares of a complete table, shape (n targets, k judges).

    Raises
    ------
    ValueError
        If there are fewer than two rows or columns, or a value is missing.
    """
    x = np.asarray(scores, dtype=np.float64)
    if x.ndim != 2 or min(x.shape) < 2 or not np.isfinite(x).all():
        raise ValueError("scores must be a complete table of at least two targets and two judges")
    n, k = x.shape
    grand = x.mean()
    rounding = _ROUNDING_COUNT * np.finfo(np.float64).eps * float(np.abs(x).max())

    def sum_squares(deviations: FloatArray) -> float:
        # What differs by no more than rounding does not differ.
        return float(np.sum(np.where(np.abs(deviations) > rounding, deviations, 0.0) ** 2))

    targets = k * sum_squares(x.mean(axis=1) - grand)
    judges = n * sum_squares(x.mean(axis=0) - grand)
    error = sum_squares(x - x.mean(axis=1, keepdims=True) - x.mean(axis=0) + grand)
    return MeanSquares(
        targets=targets / (n - 1),
        within=(judges + error) / (n * (k - 1)),
        judges=judges / (k - 1),
        error=error / ((n - 1) * (k - 1)),
        n=n,
        k=k,
    )


def intraclass_correlation(
    scores: ArrayLike, model: Model, level: float = 0.95
) -> IntraclassCorrelation:
    """Intraclass correlation of a table of scores.

    Parameters
    ----------
    scores : array, shape (n, k)
        Targets (steps, runs) by judges (table and reference); rows with a NaN are left out.
    model : str
        One of :data:`MODELS`. ``2,1`` asks for absolute agreement: the one for two methods that are
        to be exchanged for each other.
    level : float

    Returns
    -------
    IntraclassCorrelation
        NaN with fewer than three complete rows, or where nothing varies.

    Raises
    ------
    ValueError
        If the model has no such name or the table is not two-dimensional.
    """
    if model not in MODELS:
        raise ValueError(f"model {model!r} is not one of {', '.join(MODELS)}")
    x = np.asarray(scores, dtype=np.float64)
    if x.ndim != 2 or x.shape[1] < 2:
        raise ValueError("scores must be targets by at least two judges")
    x = x[np.isfinite(x).all(axis=1)]
    meaning = MODELS[model]
    if len(x) < FEWEST_PAIRS_COUNT:
        why = f"{len(x)} pairs: at least {FEWEST_PAIRS_COUNT} are needed."
        return IntraclassCorrelation(np.nan, np.nan, np.nan, model, meaning, len(x), why)
    ms = mean_squares(x)
    if ms.targets + ms.error == 0.0:
        why = "All pairs are alike: there is nothing to tell apart."
        return IntraclassCorrelation(np.nan, np.nan, np.nan, model, meaning, len(x), why)
    tail = 0.5 + 0.5 * level
    value, (low, high) = _compute_single(ms, model[0]), _compute_single_interval(ms, model[0], tail)
    if model.endswith("k"):
        value, low, high = (_step_up(single, ms.k) for single in (value, low, high))
    return IntraclassCorrelation(value, low, high, model, meaning, len(x))


def _compute_single(ms: MeanSquares, form: str) -> float:
    """Correlation of single measurements."""
    k, top = ms.k, ms.targets
    if form == "1":
        return _divide_or_nan(top - ms.within, top + (k - 1) * ms.within)
    judges = k * (ms.judges - ms.error) / ms.n if form == "2" else 0.0
    return _divide_or_nan(top - ms.error, top + (k - 1) * ms.error + judges)


def _divide_or_nan(top: float, bottom: float) -> float:
    return top / bottom if bottom > 0.0 else np.nan


def _step_up(single: float, k: int) -> float:
    """Correlation of the mean of k measurements (Spearman-Brown)."""
    if np.isneginf(single) or 1.0 + (k - 1) * single <= 0.0:
        return -np.inf
    return k * single / (1.0 + (k - 1) * single)


def _compute_single_interval(ms: MeanSquares, form: str, tail: float) -> tuple[float, float]:
    """Interval of the correlation of single measurements."""
    n, k = ms.n, ms.k
    if form == "2":
        return _compute_agreement_interval(ms, tail)
    noise, freedom = (ms.within, n * (k - 1)) if form == "1" else (ms.error, (n - 1) * (k - 1))
    if noise <= 0.0:
        return 1.0, 1.0
    f = ms.targets / noise
    low = f / stats.f.ppf(tail, n - 1, freedom)
    high = f * stats.f.ppf(tail, freedom, n - 1)
    return float((low - 1.0) / (low + k - 1.0)), float((high - 1.0) / (high + k - 1.0))


def _compute_agreement_interval(ms: MeanSquares, tail: float) -> tuple[float, float]:
    """Interval of form (2,1), with Satterthwaite's degrees of freedom."""
    n, k, value = ms.n, ms.k, _compute_single(ms, "2")
    if ms.error <= 0.0 and ms.judges <= 0.0:
        return 1.0, 1.0
    if not np.isfinite(value) or value >= 1.0:
        return np.nan, np.nan
    a = k * value / (n * (1.0 - value))
    b = 1.0 + k * value * (n - 1) / (n * (1.0 - value))
    parts: FloatArray = np.array([a * ms.judges, b * ms.error])
    if not parts.any():
        return np.nan, np.nan
    freedom = parts.sum() ** 2 / np.sum(parts**2 / np.array([k - 1, (n - 1) * (k - 1)]))
    high_f = stats.f.ppf(tail, n - 1, freedom)
    low_f = stats.f.ppf(tail, freedom, n - 1)
    noise = k * ms.judges + (k * n - k - n) * ms.error
    # Divided by the quantile, which is infinite where hardly any degrees of freedom are left.
    least = ms.targets / high_f
    low = n * (least - ms.error) / (noise + n * least)
    high = n * (low_f * ms.targets - ms.error) / (noise + n * low_f * ms.targets)
    return float(low), float(high)
