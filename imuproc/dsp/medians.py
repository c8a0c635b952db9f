"""Medians of a few values, in a fraction of the time that ``numpy.median`` spends around them."""

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.filters import is_all_finite

FloatArray = NDArray[np.float64]


def median(x: FloatArray) -> FloatArray:
    """Median along the first axis; missing values are left out.

    Parameters
    ----------
    x : ndarray, shape (n, ...)
        NaN is missing.

    Returns
    -------
    ndarray, shape (...)
        NaN where there is no value at all.
    """
    n = len(x)
    if n and is_all_finite(x):
        parted = np.partition(x, n // 2, axis=0)
        upper = parted[n // 2]
        return np.asarray(upper if n % 2 else 0.5 * (parted[: n // 2].max(axis=0) + upper))
    ordered = np.sort(np.concatenate((x, np.full((1, *x.shape[1:]), np.nan))), axis=0)  # NaN last
    count = np.sum(~np.isnan(ordered), axis=0)
    middle = [
        np.take_along_axis(ordered, at[None], axis=0)[0] for at in ((count - 1) // 2, count // 2)
    ]
    return np.asarray(0.5 * (middle[0] + middle[1]))
