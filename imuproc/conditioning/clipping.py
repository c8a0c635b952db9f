"""Samples at the end of a sensor's range."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

NEAR_END: Final = 0.995
"""Two samples in a row at this share of the range are clipped; common practice, no source."""
AT_END: Final = 0.9995
"""One sample at this share is: beyond it lie only the last codes of a 12-bit converter."""
LEAST_ACCEL_RANGE_MPS2: Final = 18.0
LEAST_GYRO_RANGE_RADPS: Final = 4.0
"""No sensor in use has a smaller range than 2 g or 250 deg/s (from memory), less some scale."""


def clipped_samples(x: FloatArray, full_scale: float | None, least_range: float) -> BoolArray:
    """Which samples were at the end of the range, on any axis.

    Where the range is known, two or more samples in a row within 0.5 % of it, or one at its very
    end. In any case three or more in a row that all equal the largest or least value of their
    axis: a signal with noise does not stand still at its own extreme.

    Parameters
    ----------
    x : ndarray, shape (n, k)
        Samples of one sensor; NaN is not clipped.
    full_scale : float or None
        Range as the layout states it, in the unit of ``x``.
    least_range : float
        Extremes smaller than this are not taken for the end of an unstated range.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    clipped = np.zeros(len(x), dtype=bool)
    for axis in range(x.shape[1]):
        signal = np.where(np.isfinite(x[:, axis]), x[:, axis], 0.0)
        if full_scale is not None:
            size = np.abs(signal)
            clipped |= in_runs(size >= NEAR_END * full_scale, 2) | (size >= AT_END * full_scale)
        for extreme in (signal.max(initial=0.0), signal.min(initial=0.0)):
            if abs(extreme) >= least_range:
                clipped |= in_runs(signal == extreme, 3)
    return clipped


def in_runs(mask: BoolArray, least: int) -> BoolArray:
    """Keep only the True samples that stand in runs of at least ``least``, shape (n,)."""
    rows = len(mask) - least + 1
    out = np.zeros_like(mask)
    if rows <= 0:
        return out
    whole = mask[:rows].copy()
    for shift in range(1, least):
        whole &= mask[shift : shift + rows]
    for shift in range(least):
        out[shift : shift + rows] |= whole
    return out
