"""Sums of products of two signals at every shift, by Fourier transform."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def cross_correlate(x: FloatArray, y: FloatArray) -> FloatArray:
    """Sum of products of one signal with another one moved along it, for every overlap.

    Parameters
    ----------
    x : ndarray, shape (n,)
    y : ndarray, shape (m,)
        At least one sample each.

    Returns
    -------
    ndarray, shape (n + m - 1,)
        Entry k is the sum over j of ``x[j + k - (m - 1)] * y[j]``: from k = m - 1 to n - 1 all of
        ``y`` lies within ``x``.
    """
    count = len(x) + len(y) - 1
    size = 1 << (count - 1).bit_length()
    product = np.fft.rfft(x, size) * np.fft.rfft(y[::-1], size)
    return np.asarray(np.fft.irfft(product, size)[:count])
