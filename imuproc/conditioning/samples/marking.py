"""Which samples of a log a flag is about, from a mark on each sample."""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.marks import Marks
from imuproc.dsp.stretches import stretches_of

FloatArray = NDArray[np.float64]


def marked(
    time_s: FloatArray,
    mask: NDArray[np.bool_],
    in_running_only: bool = False,
    counted: bool = True,
) -> Marks:
    """Marks of some samples, those in a row as one stretch.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    mask : ndarray of bool, shape (n,)
    in_running_only, counted : bool
        As those of :class:`Marks`.

    Returns
    -------
    Marks
    """
    first, after = stretches_of(mask)
    return Marks(time_s[first], time_s[after - 1], after - first, in_running_only, counted)
