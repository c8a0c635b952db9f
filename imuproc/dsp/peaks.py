"""Peaks of a signal that are high enough and far enough from higher ones."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def find_peaks(x: FloatArray, least: float = -np.inf, distance: int = 1) -> IntArray:
    """Samples that are higher than those on both sides.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Neither the first nor the last sample is a peak, nor one beside a missing (NaN) sample.
    least : float
        Least height of a peak, in the unit of ``x``.
    distance : int
        Least distance in samples; of two peaks nearer to each other the higher one stays, the
        highest of all first.

    Returns
    -------
    ndarray of int, shape (m,)
        In order; the middle of a flat top.
    """
    inner = x[1:-1]
    # Where a flat top begins the next sample is as high: whether it falls after it is seen below.
    begins = np.flatnonzero((inner > x[:-2]) & (inner >= x[2:]) & (inner >= least)) + 1
    peaks = begins
    flat = np.flatnonzero(x[begins] == x[begins + 1]) if len(begins) else begins
    if len(flat):
        after = np.array([_find_next_level(x, int(i)) for i in begins[flat]], dtype=np.intp)
        falls = after < len(x)
        falls[falls] = x[after[falls]] < x[begins[flat][falls]]
        peaks = begins.copy()
        peaks[flat] = (begins[flat] + after - 1) // 2
        peaks = np.delete(peaks, flat[~falls])
    return _drop_near_peaks(peaks, x, distance) if distance > 1 else peaks


def _find_next_level(x: FloatArray, begin: int) -> int:
    """First sample after a flat top that differs from it; the length of ``x`` where none does."""
    other = np.flatnonzero(x[begin:] != x[begin])
    return begin + int(other[0]) if len(other) else len(x)


def _drop_near_peaks(peaks: IntArray, x: FloatArray, distance: int) -> IntArray:
    """Peaks without those that a higher one is too near to."""
    kept = np.ones(len(peaks), dtype=bool)
    first = np.searchsorted(peaks, peaks - distance, side="right")
    last = np.searchsorted(peaks, peaks + distance)
    for peak in np.argsort(x[peaks], kind="stable")[::-1]:  # over peaks, not samples
        if kept[peak]:
            kept[first[peak] : last[peak]] = False
            kept[peak] = True
    return peaks[kept]
