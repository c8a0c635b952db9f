"""Signals with uneven stamps onto a regular grid, without hiding what was not measured."""

from math import floor
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.filters import find_finite_rows, is_all_finite

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


_SAME_TIME_RATIO: Final = 1e-4
"""Share of a period; moves a wave of a tenth of the rate by less than 1e-4 of its size."""


def make_regular_grid(start_s: float, end_s: float, rate_hz: float) -> FloatArray:
    """Regular times from ``start_s`` up to at most ``end_s``, in s, shape (n,).

    Every time is the start plus a whole number of periods, so no rounding error builds up. The
    last point may lie beyond ``end_s`` by a thousandth of a period.
    """
    count = floor((end_s - start_s) * rate_hz + 1e-3) + 1
    return start_s + np.arange(max(count, 0)) / rate_hz


def measure_sample_distance(time_s: FloatArray, grid_s: FloatArray) -> FloatArray:
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


def is_near_samples(time_s: FloatArray, grid_s: FloatArray, reach_s: float) -> BoolArray:
    """Which grid times, in s, shape (n,), have a sample within ``reach_s``."""
    if len(time_s) == 0:
        return np.zeros(len(grid_s), dtype=bool)
    if np.diff(time_s).max(initial=0.0) > 2.0 * reach_s:
        return np.asarray(measure_sample_distance(time_s, grid_s) <= reach_s)
    # No two samples are so far apart that a time between them is out of reach of both.
    return np.asarray((grid_s >= time_s[0] - reach_s) & (grid_s <= time_s[-1] + reach_s))


def interpolate(
    time_s: FloatArray,
    values: FloatArray,
    grid_s: FloatArray,
    max_gap_s: float,
) -> FloatArray:
    """Values at the grid times, from the samples on both sides of each.

    Between two samples runs a local cubic whose slopes at them are those of the parabola through
    each and its neighbours.

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

    Returns
    -------
    ndarray, shape (m, ...)
        NaN inside longer gaps and outside the samples (beyond a thousandth of the mean spacing).

    Raises
    ------
    ValueError
        If times do not strictly increase.
    """
    values = np.asarray(values, dtype=np.float64)
    grid_s = np.asarray(grid_s, dtype=np.float64)
    out = np.full((len(grid_s), *values.shape[1:]), np.nan)
    time_s = np.asarray(time_s)
    if np.any(np.diff(time_s) <= 0.0):
        raise ValueError("sample times must strictly increase")
    if not is_all_finite(values):
        kept = find_finite_rows(values)
        time_s, values = time_s[kept], values[kept]
    if len(time_s) < 2 or len(grid_s) == 0:
        return out
    # Counted from the first sample: stamps may be as large as seconds since 1970.
    origin_s = float(time_s[0])
    knots, at = time_s - origin_s, grid_s - origin_s
    slack = 1e-3 * knots[-1] / (len(knots) - 1)
    inside = (at >= -slack) & (at <= knots[-1] + slack)
    at = at[inside].clip(0.0, knots[-1])
    right = np.searchsorted(knots, at).clip(1, len(knots) - 1)
    bridged = knots[right] - knots[right - 1] <= max_gap_s
    # A grid time on a sample belongs to it, though it be a rounding error inside the gap.
    if not bridged.all():
        bridged |= measure_sample_distance(knots, at) <= slack
    found = _interpolate_at(knots, values, at, right, max_gap_s)
    if bridged.all() and inside.all():
        return found
    found[~bridged] = np.nan
    out[inside] = found
    return out


def _interpolate_at(
    knots: FloatArray,
    values: FloatArray,
    at_s: FloatArray,
    right: NDArray[np.intp],
    max_gap_s: float,
) -> FloatArray:
    """Values at wanted times, given with the knot ``right`` that follows each of them."""
    flat = values.reshape(len(values), -1)
    before = right - 1
    step = knots[right] - knots[before]
    share = (at_s - knots[before]) / step
    late = share > 0.5
    if np.all(np.abs(share - late) < _SAME_TIME_RATIO):  # a regular log: nothing to interpolate
        return np.asarray(values[before + late], dtype=np.float64)
    one_by_one = right[-1] - right[0] == len(right) - 1 and (np.diff(right) == 1).all()
    ends = [slice(first[0], first[-1] + 1) if one_by_one else first for first in (before, right)]
    # Hermite form: the straight line, and what the slopes at both ends add to it.
    rest = 1.0 - share
    line = share + share * rest * (share - rest)
    slopes = _estimate_slopes(knots, flat, max_gap_s)
    terms = [(flat, 1.0 - line, line), (slopes, share * rest**2 * step, -rest * share**2 * step)]
    found = np.zeros((len(at_s), flat.shape[1]))
    for known, *weights in terms:
        for end, weight in zip(ends, weights, strict=True):
            found += known[end] * weight[:, None]
    return found.reshape(len(at_s), *values.shape[1:])


def _estimate_slopes(knots: FloatArray, values: FloatArray, max_gap_s: float) -> FloatArray:
    """Slope at every sample of the parabola through it and its two nearest without a gap between.

    A gap that is not bridged parts them: what lies beyond must not bend the signal before.
    """
    step = np.diff(knots)[:, None]
    chord = np.diff(values, axis=0) / step
    share = step[:-1] / (step[:-1] + step[1:])
    slopes = np.zeros_like(values)
    slopes[1:-1] = chord[:-1] * (1.0 - share) + chord[1:] * share
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
