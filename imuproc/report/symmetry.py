"""Left against right in a run whose figures change from step to step."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def left_minus_right(values: FloatArray, step: NDArray[np.int64], left: NDArray[np.bool_]) -> float:
    """Left minus right, each step against the mean of the steps just before and after it.

    Plain means of the two sides would mistake the change through an acceleration for a difference
    between legs: one of them starts a step later. Setting each step against its two neighbours
    takes out a steady change; giving steps of both sides the same weight takes out its curvature
    (own method, no source).

    Parameters
    ----------
    values : ndarray, shape (m,)
        A figure, any unit; NaN where it is missing.
    step : ndarray of int, shape (m,)
        Step numbers, rising.
    left : ndarray of bool, shape (m,)
        Whether the step is one of the left foot.

    Returns
    -------
    float
        In the unit of ``values``; NaN unless at least one step of each side stands between two
        of the other side.
    """
    if len(values) < 4:
        return float("nan")
    against = values[1:-1] - 0.5 * (values[:-2] + values[2:])
    usable = (
        np.isfinite(against)
        & (step[2:] - step[:-2] == 2)
        & (left[:-2] != left[1:-1])
        & (left[2:] != left[1:-1])
    )
    of_left, of_right = usable & left[1:-1], usable & ~left[1:-1]
    if not of_left.any() or not of_right.any():
        return float("nan")
    return 0.5 * float(against[of_left].mean() - against[of_right].mean())


def symmetry_index_pct(left: float, right: float) -> float:
    """Symmetry index 200 (left - right) / (left + right) in %; positive: left is larger.

    Only for figures with a true zero (times, frequency, lengths), never for angles. NaN unless
    both are above zero. Source: Robinson, Herzog & Nigg 1987, J Manip Physiol Ther 10:172 (from
    memory).
    """
    if not (left > 0.0 and right > 0.0):
        return float("nan")
    return 200.0 * (left - right) / (left + right)
