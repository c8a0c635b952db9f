"""Signals with uneven stamps onto a regular grid, without hiding what was not measured."""

from math import floor
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.filters import finite_rows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

Method = Literal["linear", "cubic"]

_SAME_TIME: Final = 1e-4
"""Share of a period; moves a wave of a tenth of the rate by less than 1e-4 of its size."""


def regular_grid(start_s: float, end_s: float, rate_hz: float) -> FloatArray:
    """Regular times from ``start_s`` up to at most ``end_s``, in s, shape (n,).

    Every time is the start plus a whole number of periods, so no rounding error builds up. The
    last point may lie beyond ``end_s`` by a thousandth of a period.
    """
    count = floor((end_s - start_s) * rate_hz + 1e-3) + 1
    return start_s + np.arange(max(count, 0)) / rate_hz


def distance_to_samples(time_s: FloatArray, grid_s: FloatArray) -> FloatArray:
    """Distance in s from each grid time to the nearest sample; infinite where there is none.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Increasing times of real samples in s.
    grid_s : ndarray, shape (m,)

    Returns
    -------
    ndarray, shape (m,)
    """
    if len(time_s) == 0:
        return np.full(len(grid_s), np.inf)
    after = np.searchsorted(time_s, grid_s).clip(0, len(time_s) - 1)
    before = (after - 1).clip(0)
    nearest = np.minimum(np.abs(time_s[after] - grid_s), np.abs(grid_s - time_s[before]))
    return np.asarray(nearest, dtype=np.float64)


def interpolate(
    time_s: FloatArray,
    values: FloatArray,
    grid_s: FloatArray,
    max_gap_s: float,
    method: Method = "cubic",
) -> FloatArray:
    """Values at the grid times, from the samples on both sides of each.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Strictly increasing sample times in s.
    values : ndarray, shape (n, ...)
        Samples; a row with a value that is not finite counts as missing.
    grid_s : ndarray, shape (m,)
        Wanted times in s.
    max_gap_s : float
        Longest distance in s between two samples that is bridged.
    method : {"linear", "cubic"}
        ``cubic`` is a local cubic whose slopes are those of the parabola through each sample and
        its neighbours.

    Returns
    -------
    ndarray, shape (m, ...)
        NaN inside longer gaps and outside the samples (beyond a thousandth of the mean spacing).

    Raises
    ------
    ValueError
        If times do not strictly increase, or ``method`` is not one of the two words.
    """
    if method not in ("linear", "cubic"):
        raise ValueError(f"method is {method!r}; allowed are 'linear', 'cubic'")
    values = np.asarray(values, dtype=np.float64)
    grid_s = np.asarray(grid_s, dtype=np.float64)
    out = np.full((len(grid_s), *values.shape[1:]), np.nan)
    kept = finite_rows(values)
    if np.any(np.diff(time_s) <= 0.0):
        raise ValueError("sample times must strictly increase")
    if kept.sum() < 2 or len(grid_s) == 0:
        return out
    # Counted from the first sample: stamps may be as large as seconds since 1970.
    origin_s = float(np.asarray(time_s)[kept][0])
    knots, at = np.asarray(time_s)[kept] - origin_s, grid_s - origin_s
    slack = 1e-3 * knots[-1] / (len(knots) - 1)
    inside = (at >= -slack) & (at <= knots[-1] + slack)
    at = at[inside].clip(0.0, knots[-1])
    right = np.searchsorted(knots, at).clip(1, len(knots) - 1)
    bridged = knots[right] - knots[right - 1] <= max_gap_s
    # A grid time on a sample belongs to it, though it be a rounding error inside the gap.
    if not bridged.all():
        bridged |= distance_to_samples(knots, at) <= slack
    found = _evaluate(knots, values[kept], (at, right), max_gap_s, method)
    found[~bridged] = np.nan
    out[inside] = found
    return out


def _evaluate(
    knots: FloatArray,
    values: FloatArray,
    wanted: tuple[FloatArray, NDArray[np.intp]],
    max_gap_s: float,
    method: Method,
) -> FloatArray:
    """Values at wanted times, given with the knot that follows each of them."""
    at, right = wanted
    flat = values.reshape(len(values), -1)
    left = right - 1
    step = (knots[right] - knots[left])[:, None]
    share = (at - knots[left])[:, None] / step
    late = share[:, 0] > 0.5
    if np.all(np.abs(share[:, 0] - late) < _SAME_TIME):  # a regular log: nothing to interpolate
        return np.asarray(values[left + late], dtype=np.float64)
    base = np.take(flat, left, axis=0)
    rise = np.take(flat, right, axis=0) - base
    found = base + share * rise
    if method == "cubic":
        # Hermite form: the straight line, and what the slopes at both ends add to it.
        slopes = _slopes(knots, flat, max_gap_s)
        away = (1.0 - share) * (np.take(slopes, left, axis=0) * step - rise) - share * (
            np.take(slopes, right, axis=0) * step - rise
        )
        found += share * (1.0 - share) * away
    return np.asarray(found.reshape(len(at), *values.shape[1:]), dtype=np.float64)


def _slopes(knots: FloatArray, values: FloatArray, max_gap_s: float) -> FloatArray:
    """Slope at every sample of the parabola through it and its two nearest on the same stretch.

    A stretch ends at a gap that is not bridged: what lies beyond must not bend the signal before.
    """
    step = np.diff(knots)[:, None]
    chord = np.diff(values, axis=0) / step
    slopes = np.zeros_like(values)
    slopes[1:-1] = (chord[:-1] * step[1:] + chord[1:] * step[:-1]) / (step[:-1] + step[1:])
    gaps = np.flatnonzero(step[:, 0] > max_gap_s)
    first, last = np.append(0, gaps + 1), np.append(gaps, len(knots) - 1)
    slopes[first] = slopes[last] = 0.0
    pair = last - first == 1
    slopes[first[pair]] = slopes[last[pair]] = chord[first[pair]]
    first, last = first[last - first > 1], last[last - first > 1]
    # At an end the parabola through the first or last three samples.
    bend = (chord[first + 1] - chord[first]) / (step[first] + step[first + 1])
    slopes[first] = chord[first] - bend * step[first]
    bend = (chord[last - 1] - chord[last - 2]) / (step[last - 1] + step[last - 2])
    slopes[last] = chord[last - 1] + bend * step[last - 1]
    return slopes
