"""Sub-sample times of level crossings."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

Direction = Literal["rising", "falling", "both"]


def find_crossings(
    time_s: FloatArray,
    x: FloatArray,
    level: float | FloatArray,
    direction: Direction = "both",
) -> FloatArray:
    """Times at which a signal crosses a level, by straight lines between samples.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Increasing times in s.
    x : ndarray, shape (n,)
        Signal. No crossing is found between a missing (NaN) sample and its neighbours.
    level : float or ndarray, shape (n,)
        Level, or one that changes with time.
    direction : {"rising", "falling", "both"}

    Returns
    -------
    ndarray, shape (m,)
        Times in s, in order. A signal that only touches the level and turns back has not crossed
        it on the way out, but it has on the way in (from below or above, up to and including it).

    Raises
    ------
    ValueError
        If ``direction`` is not one of the three words.
    """
    if direction not in ("rising", "falling", "both"):
        raise ValueError(f"direction is {direction!r}; allowed are 'rising', 'falling', 'both'")
    time_s = np.asarray(time_s, dtype=np.float64)
    above = np.asarray(x, dtype=np.float64) - level
    before, after = above[:-1], above[1:]
    # NaN compares false, so gaps drop out by themselves.
    wanted = np.zeros(len(before), dtype=bool)
    if direction != "falling":
        wanted |= (before < 0.0) & (after >= 0.0)
    if direction != "rising":
        wanted |= (before > 0.0) & (after <= 0.0)
    i = np.flatnonzero(wanted)
    share = before[i] / (before[i] - after[i])
    return np.asarray(time_s[i] + share * (time_s[i + 1] - time_s[i]), dtype=np.float64)
