"""Runs of a mask: samples in a row that share a mark."""

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.intp]


def find_mask_runs(mask: NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """First sample of each run of True, and the first one behind it.

    Parameters
    ----------
    mask : ndarray of bool, shape (n,)

    Returns
    -------
    first, after : ndarray of int, shape (k,)
        In order.
    """
    padded = np.zeros(len(mask) + 2, dtype=bool)
    padded[1:-1] = mask
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return edges[::2], edges[1::2]


def list_mask_slices(mask: NDArray[np.bool_]) -> list[slice]:
    """Slice of each run of True of a mask, shape (n,), in order."""
    return [slice(int(a), int(b)) for a, b in zip(*find_mask_runs(mask), strict=True)]
