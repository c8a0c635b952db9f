"""Sub-sample times of level crossings and of extrema."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

Direction = Literal["rising", "falling", "both"]
Extremum = Literal["max", "min"]


def crossing_times(
    time_s: FloatArray,
    x: FloatArray,
    level: float | FloatArray,
    direction: Direction = "both",
) -> FloatArray:
    """Times at which a signal crosses a level, by straight lines between samples.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Increasing times in s.
    x : ndarray, shape (n,)
        Signal. No crossing is found between a missing (NaN) sample and its neighbours.
    level : float or ndarray, shape (n,)
        Level, or one that changes with time.
    direction : {"rising", "falling", "both"}

    Returns
    -------
    ndarray, shape (m,)
        Times in s, in order. A signal that only touches the level and turns back has not crossed
        it on the way out, but it has on the way in (from below or above, up to and including it).

    Raises
    ------
    ValueError
        If ``direction`` is not one of the three words.
    """
    if direction not in ("rising", "falling", "both"):
        raise ValueError(f"direction is {direction!r}; allowed are 'rising', 'falling', 'both'")
    time_s = np.asarray(time_s, dtype=np.float64)
    above = np.asarray(x, dtype=np.float64) - level
    before, after = above[:-1], above[1:]
    # NaN compares false, so gaps drop out by themselves.
    rising = (before < 0.0) & (after >= 0.0)
    falling = (before > 0.0) & (after <= 0.0)
    wanted = {"rising": rising, "falling": falling, "both": rising | falling}[direction]
    i = np.flatnonzero(wanted)
    share = before[i] / (before[i] - after[i])
    return np.asarray(time_s[i] + share * (time_s[i + 1] - time_s[i]), dtype=np.float64)


def refine_extrema(
    time_s: FloatArray, x: FloatArray, index: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Times and values of extrema by the parabola through each sample and its two neighbours.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Increasing times in s, not necessarily regular.
    x : ndarray, shape (n,)
        Signal.
    index : ndarray of int, shape (m,)
        Samples that are local extrema.

    Returns
    -------
    time_s, value : ndarray, shape (m,)
        Times in s and values in the unit of ``x``. Where the parabola is of no use (first or last
        sample, missing neighbour, flat top) the sample itself.
    """
    time_s = np.asarray(time_s, dtype=np.float64)
    x = np.asarray(x, dtype=np.float64)
    index = np.asarray(index, dtype=np.intp)
    left, right = np.maximum(index - 1, 0), np.minimum(index + 1, len(x) - 1)
    step_left, step_right = time_s[index] - time_s[left], time_s[right] - time_s[index]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope_left = (x[index] - x[left]) / step_left
        slope_right = (x[right] - x[index]) / step_right
        curvature = (slope_right - slope_left) / (step_left + step_right)
        slope = (slope_left * step_right + slope_right * step_left) / (step_left + step_right)
        shift = -slope / (2.0 * curvature)
        value = x[index] - slope**2 / (4.0 * curvature)
        useful = np.isfinite(shift) & (shift >= -step_left) & (shift <= step_right)
    return (
        np.where(useful, time_s[index] + shift, time_s[index]),
        np.where(useful, value, x[index]),
    )


def extrema(
    time_s: FloatArray,
    x: FloatArray,
    kind: Extremum = "max",
    prominence: float | None = None,
    min_distance: int = 1,
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Local extrema inside a signal, refined between samples.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Increasing times in s.
    x : ndarray, shape (n,)
        Signal. Missing (NaN) samples are never an extremum, nor are the first and last sample.
    kind : {"max", "min"}
    prominence : float or None
        Least height above the higher of the two saddles beside it, in the unit of ``x``.
    min_distance : int
        Least distance in samples; the larger extremum stays.

    Returns
    -------
    time_s, value : ndarray, shape (m,)
        Refined times and values, see :func:`refine_extrema`.
    index : ndarray of int, shape (m,)
        Nearest samples; the middle of a flat top.

    Raises
    ------
    ValueError
        If ``kind`` is not one of the two words.
    """
    if kind not in ("max", "min"):
        raise ValueError(f"kind is {kind!r}; allowed are 'max', 'min'")
    x = np.asarray(x, dtype=np.float64)
    upward = x if kind == "max" else -x
    # A gap looks like a deep valley, so that it neither hides nor invents a peak.
    gap = ~np.isfinite(upward)
    filled = np.where(gap, -np.inf, upward)
    if gap.any() and not gap.all():
        filled = np.where(gap, upward[~gap].min() - 1.0, upward)
    index, _ = find_peaks(filled, prominence=prominence, distance=min_distance)
    index = index.astype(np.intp)
    beside_gap = gap[np.maximum(index - 1, 0)] | gap[np.minimum(index + 1, len(x) - 1)]
    index = index[~beside_gap]
    refined_s, value = refine_extrema(time_s, x, index)
    return refined_s, value, index
