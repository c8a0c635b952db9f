"""Lin's concordance correlation and proportional bias."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from imuproc.agreement.events import FloatArray
from imuproc.agreement.statistics.limits import FEWEST_PAIRS_COUNT


@dataclass(frozen=True)
class Concordance:
    """Lin's concordance correlation with its interval; NaN with a note where it cannot be given."""

    value: float
    low: float
    high: float
    n: int
    note: str = ""


def compute_concordance(first: ArrayLike, second: ArrayLike, level: float = 0.95) -> Concordance:
    """Lin's concordance correlation coefficient.

    Lin 1989, Biometrics 45:255 (from memory), moments divided by n; interval by the inverse
    hyperbolic tangent with the variance of that paper as corrected in 2000 (Biometrics 56:324; from
    memory). Pairs are taken for independent.

    Parameters
    ----------
    first, second : array, shape (n,)
        Pairs with a NaN are left out.
    level : float

    Returns
    -------
    Concordance
        NaN with fewer than three pairs, or where neither varies. No interval where a pair of
        constants or a perfect line leaves none.
    """
    x, y = _select_complete_pairs(first, second)
    n = len(x)
    if n < FEWEST_PAIRS_COUNT:
        why = f"{n} pairs: at least {FEWEST_PAIRS_COUNT} are needed."
        return Concordance(np.nan, np.nan, np.nan, n, why)
    sx, sy = float(x.var()), float(y.var())
    shift = float((x.mean() - y.mean()) ** 2)
    if sx == 0.0 and sy == 0.0:
        return Concordance(np.nan, np.nan, np.nan, n, "Neither varies: nothing to tell apart.")
    product = float(np.mean((x - x.mean()) * (y - y.mean())))
    value = 2.0 * product / (sx + sy + shift)
    r = product / np.sqrt(sx * sy) if sx > 0.0 and sy > 0.0 else 0.0
    if abs(value) >= 1.0 - 1e-15 or r == 0.0:
        return Concordance(
            value, np.nan, np.nan, n, "No interval: a perfect or an absent relation."
        )
    shift_over_sd = shift / np.sqrt(sx * sy)
    variance = (
        (1.0 - r**2) * value**2 / ((1.0 - value**2) * r**2)
        + 2.0 * value**3 * (1.0 - value) * shift_over_sd / (r * (1.0 - value**2) ** 2)
        - value**4 * shift_over_sd**2 / (2.0 * r**2 * (1.0 - value**2) ** 2)
    ) / (n - 2)
    half = float(stats.norm.ppf(0.5 + 0.5 * level)) * np.sqrt(max(variance, 0.0))
    middle = np.arctanh(value)
    return Concordance(value, float(np.tanh(middle - half)), float(np.tanh(middle + half)), n)


def _select_complete_pairs(first: ArrayLike, second: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Complete pairs."""
    x, y = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if x.shape != y.shape:
        raise ValueError("both must be of the same length")
    both = np.isfinite(x) & np.isfinite(y)
    return x[both], y[both]


@dataclass(frozen=True)
class ProportionalBias:
    """Regression of difference on mean: slope with its interval; NaN with a note if not given."""

    slope: float
    low: float
    high: float
    intercept: float
    p: float
    method: str
    note: str = ""


def proportional_bias(
    first: ArrayLike, second: ArrayLike, athlete: ArrayLike | None = None, level: float = 0.95
) -> ProportionalBias:
    """Whether the difference grows with the size of the value (Bland & Altman 1999, section 3).

    Ordinary least squares of ``first - second`` on their mean. With athletes, the slope's error is
    that of the cluster sandwich (Liang & Zeger 1986, Biometrika 73:13; from memory) times k/(k-1)
    (n-1)/(n-2), and Student's t has k - 1 degrees of freedom for k athletes. A slope appears
    without any bias where one method scatters more than the other.

    Parameters
    ----------
    first, second : array, shape (n,)
        Pairs with a NaN are left out.
    athlete : array, shape (n,), optional
    level : float
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    used = np.isfinite(a) & np.isfinite(b)
    x, d = 0.5 * (a[used] + b[used]), a[used] - b[used]
    n = len(x)
    nested = athlete is not None
    method = "clustered by athlete" if nested else "independent pairs"
    codes = (
        np.unique(np.asarray(athlete, dtype=object)[used].astype(str), return_inverse=True)[1]
        if nested
        else np.arange(n)
    )
    k = int(codes.max()) + 1 if n else 0
    why = ""
    if n < FEWEST_PAIRS_COUNT:
        why = f"{n} pairs: at least {FEWEST_PAIRS_COUNT} are needed."
    elif np.ptp(x) == 0.0:
        why = "All means are equal: no slope."
    elif k < 2:
        why = "One athlete: what differs between athletes is not seen."
    if why:
        return ProportionalBias(np.nan, np.nan, np.nan, np.nan, np.nan, method, why)
    spread = x - x.mean()
    slope = float(spread @ d / (spread @ spread))
    intercept = float(d.mean() - slope * x.mean())
    residual = d - intercept - slope * x
    se, freedom = _compute_slope_error(spread, residual, codes, nested)
    t = slope / se if se > 0.0 else np.copysign(np.inf, slope)
    half = float(stats.t.ppf(0.5 + 0.5 * level, freedom)) * se
    p = float(2.0 * stats.t.sf(abs(t), freedom))
    return ProportionalBias(slope, slope - half, slope + half, intercept, p, method)


def _compute_slope_error(
    spread: FloatArray, residual: FloatArray, codes: NDArray[np.intp], nested: bool
) -> tuple[float, int]:
    """Standard error of a slope and its degrees of freedom."""
    n, square = len(spread), float(spread @ spread)
    if not nested:
        return float(np.sqrt(residual @ residual / (n - 2) / square)), n - 2
    scores = np.bincount(codes, spread * residual)
    k = len(scores)
    factor = k / (k - 1) * (n - 1) / (n - 2)
    return float(np.sqrt(factor * (scores @ scores)) / square), k - 1
