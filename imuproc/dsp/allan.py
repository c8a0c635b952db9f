"""Overlapping Allan deviation of a rate signal, and what IEEE Std 952-1997, Annex C, reads off it.

On log-log axes white noise falls with slope -1/2, bias instability is flat, a random walk of the
rate rises with slope +1/2.
"""

from dataclasses import dataclass
from math import log, nan, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.mask_runs import find_mask_runs

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

FLAT: Final = sqrt(2.0 * log(2.0) / pi)
"""0.664: height of the flat part over the coefficient of bias instability (IEEE Std 952-1997)."""

_PER_DECADE_COUNT: Final = 10
"""Averaging times per decade. Chosen: enough to read a slope over a factor of two."""
_FEWEST_CLUSTERS_COUNT: Final = 5
"""The longest averaging time fits into the log so often. Chosen: fewer scatter too much."""
_LEAST_SAMPLES: Final = 50
"""Shorter logs are refused. Chosen: one decade of averaging times."""


@dataclass(frozen=True, eq=False)
class AllanCurve:
    """Allan deviation of one axis.

    Parameters
    ----------
    tau_s : ndarray, shape (k,)
        Averaging times in s, increasing, about evenly spaced on a logarithmic axis.
    deviation : ndarray, shape (k,)
        In the unit of the signal.
    freedom : ndarray, shape (k,)
        Equivalent degrees of freedom of the variance: the relative standard uncertainty of the
        deviation is about 1 / sqrt(2 freedom).
    slope : ndarray, shape (k,)
        Local slope on log-log axes, over a factor of two to either side.
    """

    tau_s: FloatArray
    deviation: FloatArray
    freedom: FloatArray
    slope: FloatArray


@dataclass(frozen=True)
class AllanSettings:
    """When a stretch of the curve is read.

    Parameters
    ----------
    white_slope_within, walk_slope_within : float
        Largest difference of the local slope from -1/2 and +1/2.
    flat_within : float
        The flat part is where the deviation is at most this many times the least one.
    least_span : float
        Ratio of the longest to the shortest averaging time over which a slope must hold.
    least_freedom : float
        Points with fewer equivalent degrees of freedom are not used (with 10 the deviation is known
        to about 22 %).
    """

    white_slope_within: float = 0.15
    walk_slope_within: float = 0.25
    flat_within: float = 1.4
    least_span: float = 3.0
    least_freedom: float = 10.0


@dataclass(frozen=True)
class AllanReading:
    """Coefficients of one axis, for a signal in some unit U; NaN where the log was too short.

    Parameters
    ----------
    white_noise : float
        N in U/sqrt(Hz) (angle or velocity random walk): the line of slope -1/2 read at 1 s. Over t
        seconds the integral of the signal wanders by N sqrt(t). A data sheet's one-sided noise
        density is sqrt(2) N.
    bias_instability : float
        B in U: height of the flat part around the minimum over 0.664. Where a random walk takes
        over from white noise at once, this is more than B.
    bias_instability_at_most : float
        Least deviation seen, plus two of its standard uncertainties, over 0.664: B is hardly
        larger than that.
    rate_walk : float
        K in U/sqrt(s): the line of slope +1/2 read at 3 s.
    longest_tau_s : float
        Longest averaging time that was used.
    """

    white_noise: float = nan
    bias_instability: float = nan
    bias_instability_at_most: float = nan
    rate_walk: float = nan
    longest_tau_s: float = nan


def compute_allan_curve(x: FloatArray, rate_hz: float) -> AllanCurve:
    """Overlapping Allan deviation of a regular rate signal.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Regular samples without a gap.
    rate_hz : float

    Returns
    -------
    AllanCurve
        Averaging times from one sample up to a fifth of the signal.

    Raises
    ------
    ValueError
        If there are fewer than 50 samples, some are not finite, or the rate is not above 0.

    Notes
    -----
    With the integral theta of the signal, the variance over an averaging time of m samples is the
    mean of (theta[k + 2m] - 2 theta[k + m] + theta[k])^2 / (2 tau^2) over all k. Degrees of
    freedom: simple formulae of NIST SP 1065, table 5, for white, flicker and random-walk frequency
    noise as the local slope tells.
    """
    x = np.asarray(x, dtype=np.float64)
    if not rate_hz > 0.0:
        raise ValueError(f"rate_hz is {rate_hz}; it must be above 0")
    if x.ndim != 1 or len(x) < _LEAST_SAMPLES or not np.isfinite(x).all():
        raise ValueError(
            f"an Allan deviation needs {_LEAST_SAMPLES} finite samples or more of one axis; the "
            f"signal has shape {x.shape}"
        )
    # Without its mean the integral stays small, and differences keep their digits.
    theta = np.concatenate(([0.0], np.cumsum(x - x.mean()))) / rate_hz
    longest = len(x) // _FEWEST_CLUSTERS_COUNT
    steps = np.arange(int(_PER_DECADE_COUNT * np.log10(longest) + 1e-9) + 1)
    sizes = np.unique(np.rint(10.0 ** (steps / _PER_DECADE_COUNT)).astype(np.intp))
    variance = np.empty(len(sizes))
    for at, m in enumerate(sizes):  # some 50 averaging times, not samples
        first = theta[m:] - theta[:-m]
        second = first[m:] - first[:-m]
        variance[at] = (second @ second) / len(second)
    tau_s = sizes / rate_hz
    deviation = np.sqrt(variance / 2.0) / tau_s
    slope = _fit_local_slopes(tau_s, deviation)
    return AllanCurve(tau_s, deviation, _compute_freedom(len(theta), sizes, slope), slope)


def read_allan(curve: AllanCurve, settings: AllanSettings | None = None) -> AllanReading:
    """White noise N, bias instability B and rate random walk K of one axis.

    Rule: N and K are given where the curve has their slope over at least ``least_span`` in
    averaging time, B where it stays near its minimum for that long and the minimum stands clear of
    the line of white noise by two standard uncertainties; only points of at least
    ``least_freedom`` degrees of freedom count. Everything else is NaN, and for B an upper limit
    remains. On made noise B was within 25 % in logs that hold the flat part, up to twice too large
    in logs that end where it begins.

    Parameters
    ----------
    curve : AllanCurve
    settings : AllanSettings, optional

    Returns
    -------
    AllanReading

    Notes
    -----
    Reading points (N at 1 s, B at the flat minimum over 0.664, K at 3 s): IEEE Std 952-1997,
    Annex C, as quoted in open literature; the standard itself was not at hand.
    """
    settings = settings or AllanSettings()
    known = (curve.freedom >= settings.least_freedom) & (curve.deviation > 0.0)
    if not known.any():
        return AllanReading()
    tau, sigma = curve.tau_s[known], curve.deviation[known]
    slope, freedom = curve.slope[known], curve.freedom[known]
    white = _find_sloped_points(tau, slope, -0.5, settings.white_slope_within, settings.least_span)
    walk = _find_sloped_points(tau, slope, 0.5, settings.walk_slope_within, settings.least_span)
    noise = _average_by_freedom(sigma * np.sqrt(tau), freedom, white)
    twice_u = 2.0 / np.sqrt(2.0 * freedom)
    return AllanReading(
        white_noise=noise,
        bias_instability=_find_flat_level(tau, sigma, freedom, noise, settings) / FLAT,
        bias_instability_at_most=float(np.min(sigma * (1.0 + twice_u))) / FLAT,
        rate_walk=_average_by_freedom(sigma / np.sqrt(tau / 3.0), freedom, walk),
        longest_tau_s=float(tau[-1]),
    )


def _fit_local_slopes(tau_s: FloatArray, deviation: FloatArray) -> FloatArray:
    """Least-squares slope on log-log axes over a factor of two to either side of each point."""
    x, y = np.log(tau_s), np.log(np.maximum(deviation, 1e-300))
    near = (np.abs(x[:, None] - x) <= log(2.0) + 1e-9).astype(float)
    count = near.sum(axis=1)
    mean_x, mean_y = near @ x / count, near @ y / count
    return np.asarray(
        (near @ (x * y) / count - mean_x * mean_y)
        / np.maximum(near @ x**2 / count - mean_x**2, 1e-12)
    )


def _compute_freedom(points: int, sizes: NDArray[np.intp], slope: FloatArray) -> FloatArray:
    """Equivalent degrees of freedom of each variance; ``points`` of the integral."""
    n, m = float(points), sizes.astype(np.float64)
    white = (3.0 * (n - 1.0) / (2.0 * m) - 2.0 * (n - 2.0) / n) * 4.0 * m**2 / (4.0 * m**2 + 5.0)
    one = 2.0 * (n - 2.0) ** 2 / (2.3 * n - 4.9)
    flicker = np.where(m == 1.0, one, 5.0 * n**2 / (4.0 * m * (n + 3.0 * m)))
    walk = (n - 2.0) / m * ((n - 1.0) ** 2 - 3.0 * m * (n - 1.0) + 4.0 * m**2) / (n - 3.0) ** 2
    return np.where(slope < -0.25, white, np.where(slope < 0.25, flicker, walk))


def _find_sloped_points(
    tau: FloatArray, slope: FloatArray, wanted: float, within: float, least_span: float
) -> BoolArray:
    """The longest row of points with the wanted slope; none where it spans too little."""
    begins, after = find_mask_runs(np.abs(slope - wanted) <= within)
    out = np.zeros(len(tau), dtype=bool)
    rows = list(zip(begins, after - 1, strict=True))
    if rows:
        first, last = max(rows, key=lambda row: tau[row[1]] / tau[row[0]])
        out[first : last + 1] = tau[last] >= least_span * tau[first]
    return out


def _find_flat_level(
    tau: FloatArray,
    sigma: FloatArray,
    freedom: FloatArray,
    noise: float,
    settings: AllanSettings,
) -> float:
    """Deviation of the flat part around the minimum; NaN where there is none yet."""
    clear = 1.0 + 2.0 / np.sqrt(2.0 * freedom)
    least = int(np.argmin(sigma * clear))  # not a chance low of the scattering end
    if not sigma[least] > clear[least] * noise / sqrt(tau[least]):
        return nan
    high = np.flatnonzero(sigma > settings.flat_within * sigma[least])
    first = int(high[high < least].max(initial=-1)) + 1
    last = int(high[high > least].min(initial=len(tau))) - 1
    if tau[last] < settings.least_span * tau[first]:
        return nan
    # Some points beside it as well: the least of a scattering curve alone is too low.
    lowest = np.zeros(len(tau), dtype=bool)
    lowest[first : last + 1] = True
    lowest &= np.abs(np.log(tau / tau[least])) <= log(2.0)
    return _average_by_freedom(sigma, freedom, lowest)


def _average_by_freedom(level: FloatArray, freedom: FloatArray, chosen: BoolArray) -> float:
    """Geometric mean of the chosen points by their degrees of freedom; NaN where there is none."""
    if not chosen.any():
        return nan
    return float(np.exp(np.average(np.log(level[chosen]), weights=freedom[chosen])))
