"""Bias and 95 % limits of agreement of independent pairs."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from imuproc.agreement.events import FloatArray

LimitError = Literal["exact", "large-sample", "approximate"]

FEWEST = 3
"""With fewer pairs nothing is said of scatter."""


@dataclass(frozen=True)
class Limits:
    """Bias, scatter and limits of agreement; NaN where pairs are too few.

    Parameters
    ----------
    n : int
        Pairs.
    units : int
        Independent units: athletes, or pairs.
    bias, bias_low, bias_high : float
        Mean difference and its interval.
    sd : float
        Of a difference; between and within athletes together for the nested forms.
    lower, upper : float
        Limits of agreement.
    lower_low, lower_high, upper_low, upper_high : float
        Their intervals.
    method : str
        Which form, and how the intervals were made.
    note : str
        Why figures are missing; else empty.
    """

    n: int
    units: int
    bias: float
    sd: float
    lower: float
    upper: float
    bias_low: float
    bias_high: float
    lower_low: float
    lower_high: float
    upper_low: float
    upper_high: float
    method: str
    note: str = ""


@dataclass(frozen=True)
class Spread:
    """What limits are laid around: pairs, independent units, bias, SD and how many SD."""

    n: int
    units: int
    bias: float
    sd: float
    multiplier: float


def limits_around(spread: Spread, margins: tuple[float, float, float], method: str) -> Limits:
    """Limits from bias and SD.

    Parameters
    ----------
    spread : Spread
    margins : tuple of float
        How far the interval of the bias goes either way, and that of a limit towards the bias and
        away from it.
    method : str
    """
    half, near, far = margins
    bias, reach = spread.bias, spread.multiplier * spread.sd
    return Limits(
        n=spread.n,
        units=spread.units,
        bias=bias,
        sd=spread.sd,
        lower=bias - reach,
        upper=bias + reach,
        bias_low=bias - half,
        bias_high=bias + half,
        lower_low=bias - reach - far,
        lower_high=bias - reach + near,
        upper_low=bias + reach - near,
        upper_high=bias + reach + far,
        method=method,
        note="All differences are equal." if spread.sd == 0.0 else "",
    )


def no_limits(n: int, units: int, bias: float, method: str, note: str) -> Limits:
    """Limits that cannot be given, and why."""
    return Limits(
        n=n,
        units=units,
        bias=bias,
        sd=np.nan,
        lower=np.nan,
        upper=np.nan,
        bias_low=np.nan,
        bias_high=np.nan,
        lower_low=np.nan,
        lower_high=np.nan,
        upper_low=np.nan,
        upper_high=np.nan,
        method=method,
        note=note,
    )


def finite(values: ArrayLike) -> FloatArray:
    """The finite values, flat."""
    array = np.asarray(values, dtype=np.float64).ravel()
    return array[np.isfinite(array)]


def limits_of_agreement(
    difference: ArrayLike,
    level: float = 0.95,
    multiplier: float = 1.96,
    error: LimitError = "exact",
) -> Limits:
    """Bias and limits of independent differences (Bland & Altman 1986, Lancet 327:307).

    Parameters
    ----------
    difference : array, shape (n,)
        NaN are left out.
    level : float
        Of the intervals.
    multiplier : float
        Limits are bias ± so many SD: 1.96, or 2 as in the paper's example.
    error : {"exact", "large-sample", "approximate"}
        Interval of a limit: from the noncentral t distribution (Carkeet 2015, Optom Vis Sci 92:e71;
        from memory); with the standard error √(s² (1/n + z²/(2(n-1)))) and Student's t; with
        √(3 s²/n) as in the paper.

    Returns
    -------
    Limits
        Only the bias with fewer than three pairs.

    Raises
    ------
    ValueError
        If ``error`` has no such name.
    """
    d = finite(difference)
    n = len(d)
    method = f"independent pairs, {error} interval"
    bias = float(d.mean()) if n else np.nan
    if n < FEWEST:
        return no_limits(n, n, bias, method, f"{n} pairs: at least {FEWEST} are needed for limits.")
    sd = float(d.std(ddof=1))
    t = float(stats.t.ppf(0.5 + 0.5 * level, n - 1))
    half = t * sd / np.sqrt(n)
    near, far = _limit_margins(n, sd, level, multiplier, error)
    return limits_around(
        Spread(n, n, bias, sd, multiplier), (half, float(near), float(far)), method
    )


def _limit_margins(
    n: int, sd: float, level: float, multiplier: float, error: LimitError
) -> tuple[float, float]:
    """How far the interval of a limit goes towards the bias and away from it."""
    tail = 0.5 + 0.5 * level
    if error == "exact":
        # A limit's pivot, (bias - limit) √n / sd, is noncentral t with this noncentrality.
        away = multiplier * np.sqrt(n)
        high, low = stats.nct.ppf([tail, 1.0 - tail], n - 1, away) / np.sqrt(n)
        return float(sd * (multiplier - low)), float(sd * (high - multiplier))
    if error == "approximate":
        se = np.sqrt(3.0 * sd**2 / n)
    elif error == "large-sample":
        se = np.sqrt(sd**2 * (1.0 / n + multiplier**2 / (2.0 * (n - 1))))
    else:
        raise ValueError(f"error {error!r} is not one of exact, large-sample, approximate")
    margin = float(stats.t.ppf(tail, n - 1) * se)
    return margin, margin


def repeatability(first: ArrayLike, second: ArrayLike) -> float:
    """Coefficient of repeatability of one method measured twice: 2 √(Σd²/n).

    Bland & Altman 1986, Lancet 327:307; a difference between the two is expected to stay below it
    19 times in 20. NaN with fewer than three pairs.
    """
    d = finite(np.asarray(first, dtype=np.float64) - np.asarray(second, dtype=np.float64))
    return float(2.0 * np.sqrt(np.mean(d**2))) if len(d) >= FEWEST else np.nan


def root_mean_square(difference: ArrayLike) -> float:
    """Root of the mean squared difference; NaN without any."""
    d = finite(difference)
    return float(np.sqrt(np.mean(d**2))) if len(d) else np.nan
