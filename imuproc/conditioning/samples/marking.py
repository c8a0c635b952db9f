"""Which samples of a log a flag is about, from a mark on each sample."""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.marks import Marks
from imuproc.dsp.mask_runs import find_mask_runs

FloatArray = NDArray[np.float64]


def mark_samples(
    time_s: FloatArray,
    mask: NDArray[np.bool_],
    in_running_only: bool = False,
    counted: bool = True,
) -> Marks:
    """Marks of some samples, those in a row as one interval.

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
    first, after = find_mask_runs(mask)
    return Marks(time_s[first], time_s[after - 1], after - first, in_running_only, counted)
