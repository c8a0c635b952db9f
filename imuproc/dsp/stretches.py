"""Samples in a row that share a mark."""

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.intp]


def stretches_of(mask: NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """Stretches of True.

    Parameters
    ----------
    mask : ndarray of bool, shape (n,)

    Returns
    -------
    first, after : ndarray of int, shape (k,)
        First sample of each stretch and the first one behind it, in order.
    """
    padded = np.zeros(len(mask) + 2, dtype=bool)
    padded[1:-1] = mask
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return edges[::2], edges[1::2]
