"""Bias and 95 % limits of agreement of independent pairs."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from imuproc.agreement.events import FloatArray

FEWEST_PAIRS_COUNT = 3
"""With fewer pairs nothing is said of scatter."""
LIMIT_SD_RATIO = 1.96
"""Limits are the bias and so many SD either way."""


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
    """What limits are laid around: pairs, independent units, bias and SD."""

    n: int
    units: int
    bias: float
    sd: float


class Margins(NamedTuple):
    """How far intervals go."""

    bias: float  # that of the bias, either way
    inner: float  # that of a limit, towards the bias
    outer: float  # and away from it


def make_limits(spread: Spread, margins: Margins, method: str) -> Limits:
    """Limits from bias and SD.

    Parameters
    ----------
    spread : Spread
    margins : Margins
    method : str
    """
    bias, reach = spread.bias, LIMIT_SD_RATIO * spread.sd
    return Limits(
        n=spread.n,
        units=spread.units,
        bias=bias,
        sd=spread.sd,
        lower=bias - reach,
        upper=bias + reach,
        bias_low=bias - margins.bias,
        bias_high=bias + margins.bias,
        lower_low=bias - reach - margins.outer,
        lower_high=bias - reach + margins.inner,
        upper_low=bias + reach - margins.inner,
        upper_high=bias + reach + margins.outer,
        method=method,
        note="All differences are equal." if spread.sd == 0.0 else "",
    )


def withhold_limits(n: int, units: int, bias: float, method: str, note: str) -> Limits:
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


def select_finite(values: ArrayLike) -> FloatArray:
    """The finite values, flat."""
    array = np.asarray(values, dtype=np.float64).ravel()
    return array[np.isfinite(array)]


def limits_of_agreement(difference: ArrayLike, level: float = 0.95) -> Limits:
    """Bias and limits of independent differences (Bland & Altman 1986, Lancet 327:307).

    The interval of a limit is the exact one, from the noncentral t distribution (Carkeet 2015,
    Optom Vis Sci 92:e71; from memory).

    Parameters
    ----------
    difference : array, shape (n,)
        NaN are left out.
    level : float
        Of the intervals.

    Returns
    -------
    Limits
        Only the bias with fewer than three pairs.
    """
    d = select_finite(difference)
    n = len(d)
    method = "independent pairs, exact interval"
    bias = float(d.mean()) if n else np.nan
    if n < FEWEST_PAIRS_COUNT:
        return withhold_limits(
            n, n, bias, method, f"{n} pairs: at least {FEWEST_PAIRS_COUNT} are needed for limits."
        )
    sd = float(d.std(ddof=1))
    tail = 0.5 + 0.5 * level
    half = float(stats.t.ppf(tail, n - 1)) * sd / np.sqrt(n)
    # A limit's pivot, (bias - limit) √n / sd, is noncentral t with this noncentrality.
    away = LIMIT_SD_RATIO * np.sqrt(n)
    high, low = stats.nct.ppf([tail, 1.0 - tail], n - 1, away) / np.sqrt(n)
    margins = Margins(half, float(sd * (LIMIT_SD_RATIO - low)), float(sd * (high - LIMIT_SD_RATIO)))
    return make_limits(Spread(n, n, bias, sd), margins, method)


def root_mean_square(difference: ArrayLike) -> float:
    """Root of the mean squared difference; NaN without any."""
    d = select_finite(difference)
    return float(np.sqrt(np.mean(d**2))) if len(d) else np.nan
