"""A smooth way from one value to another."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def quintic_step(share: FloatArray) -> FloatArray:
    """From 0 to 1 with zero velocity and acceleration at both ends.

    Parameters
    ----------
    share : ndarray
        Of the way in time: 0 and less is before it, 1 and more after it.

    Returns
    -------
    ndarray

    Examples
    --------
    >>> quintic_step(np.array([-1.0, 0.0, 0.5, 1.0, 2.0])).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    u = np.clip(share, 0.0, 1.0)
    return np.asarray(u**3 * (10.0 - 15.0 * u + 6.0 * u**2))
