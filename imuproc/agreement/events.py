"""Touchdowns and toe-offs of a table or a reference in one row of times."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TOUCHDOWN = 0
TOE_OFF = 1


@dataclass(frozen=True, eq=False)
class EventTrain:
    """All events in order of time.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Finite and in order.
    kind : ndarray of int, shape (n,)
        0 touchdown, 1 toe-off.
    side : ndarray of int, shape (n,)
        +1 left, -1 right, 0 unknown.
    start_s, end_s : float
        What was watched, on the same clock: where no event is, none was. NaN where unknown.
    """

    time_s: FloatArray
    kind: IntArray
    side: IntArray
    start_s: float
    end_s: float

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def span_s(self) -> float:
        """First to last event in s."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self) else 0.0


def make_event_train(
    side: ArrayLike,
    touchdown_s: ArrayLike,
    toe_off_s: ArrayLike,
    start_s: float = np.nan,
    end_s: float = np.nan,
) -> EventTrain:
    """Events of contacts; what is NaN is left out.

    Parameters
    ----------
    side : array of str, shape (m,)
        ``left``, ``right``, anything else is unknown.
    touchdown_s, toe_off_s : array, shape (m,)
        In s on one clock.
    start_s, end_s : float
        As in :class:`EventTrain`.

    Raises
    ------
    ValueError
        If the lengths differ.
    """
    sides = to_side_signs(side)
    down = np.asarray(touchdown_s, dtype=np.float64)
    off = np.asarray(toe_off_s, dtype=np.float64)
    if not len(sides) == len(down) == len(off):
        raise ValueError("side, touchdown_s and toe_off_s must be of the same length")
    time = np.concatenate((down, off))
    kind = np.repeat([TOUCHDOWN, TOE_OFF], len(down))
    both = np.concatenate((sides, sides))
    order = np.argsort(time, kind="stable")
    order = order[np.isfinite(time[order])]
    return EventTrain(time[order], kind[order], both[order], start_s, end_s)


def to_side_signs(side: ArrayLike) -> IntArray:
    """+1 for ``left``, -1 for ``right``, 0 for anything else."""
    words = np.asarray(side, dtype=object)
    return np.where(words == "left", 1, np.where(words == "right", -1, 0)).astype(np.int64)
