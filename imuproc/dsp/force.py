"""Contacts from the vertical force of a plate: a threshold above the local zero, sub-sample."""

from dataclasses import dataclass
from math import nan
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

LOADED_N: Final = 80.0
"""Force in N above which a foot is surely on the plate; the threshold must lie below it."""
LEAST_PEAK_N: Final = 300.0
"""Peak in N that a contact of a runner passes; less is a touch, or noise."""

# Loading and unloading take a few samples beside LOADED_N; judged on plates at 300 Hz.
_UNLOADING_S: Final = 7.0 / 300.0
_LOADING_S: Final = 4.0 / 300.0
_LEAST_FLIGHT_S: Final = 16.0 / 300.0
_MOST_ZERO_S: Final = 0.5


@dataclass(frozen=True, eq=False)
class ForceContacts:
    """Contacts that lie whole in the record, in order.

    Parameters
    ----------
    touchdown_s, toe_off_s : ndarray, shape (m,)
        Crossings of the threshold in s; NaN where the flight beside the event is too short to
        tell the local zero.
    cut : int
        Contacts that the record begins or ends in; they are left out.
    weak : int
        Loads that stay below :data:`LEAST_PEAK_N`; they are left out.
    """

    touchdown_s: FloatArray
    toe_off_s: FloatArray
    cut: int
    weak: int


def find_force_contacts(
    time_s: FloatArray, force_n: FloatArray, threshold_n: float
) -> ForceContacts:
    """Touchdown and toe-off where the vertical force crosses a threshold above its local zero.

    The local zero is the mean force of the flight beside the event (at most half a second of it):
    plates drift, and treadmills carry an offset. From inside the contact one goes outwards to the
    first sample below the threshold and interpolates by a straight line. Thresholds of 10 to 50 N
    are in use, 20 N most (from memory).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Regular times in s.
    force_n : ndarray, shape (n,)
        Vertical force in N, upwards on the runner.
    threshold_n : float
        In N above local zero, above 0 and below :data:`LOADED_N`.

    Returns
    -------
    ForceContacts

    Raises
    ------
    ValueError
        If the threshold is not in its range, or there are fewer than two samples.
    """
    if not 0.0 < threshold_n < LOADED_N:
        raise ValueError(f"threshold is {threshold_n:g} N; it must be above 0, below {LOADED_N:g}")
    if len(time_s) < 2:
        raise ValueError("fewer than two samples")
    loaded = np.concatenate(([False], force_n > LOADED_N, [False]))
    edges = np.diff(loaded.astype(np.int8))
    first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    if not len(first):
        return ForceContacts(np.empty(0), np.empty(0), 0, 0)
    whole = (first > 0) & (last < len(force_n) - 1)
    # A contact that the record cuts may not have come to its peak yet.
    real = (np.maximum.reduceat(force_n, first) > LEAST_PEAK_N) | ~whole
    weak, first, last, whole = int(np.sum(~real)), first[real], last[real], whole[real]
    before = np.append(0, last[:-1])
    after = np.append(first[1:], len(force_n))
    samples = _ForceRecord(time_s, force_n, threshold_n)
    pairs = [
        (
            samples.find_touchdown(int(before[k]), int(first[k]), opens=k == 0),
            samples.find_toe_off(int(last[k]), int(after[k])),
        )
        for k in np.flatnonzero(whole)
    ]
    events = np.array(pairs, dtype=np.float64).reshape(-1, 2)
    return ForceContacts(events[:, 0], events[:, 1], int(np.sum(~whole)), weak)


@dataclass(frozen=True, eq=False)
class _ForceRecord:
    """The force record and the threshold, for one event at a time."""

    time_s: FloatArray
    force_n: FloatArray
    threshold_n: float

    def _count_samples(self, duration_s: float) -> int:
        return round(duration_s / float(self.time_s[1] - self.time_s[0]))

    def _find_flight(self, last: int, first: int) -> tuple[int, int] | None:
        """Unloaded samples between two contacts, their flanks left out; None where too few."""
        if first - last < self._count_samples(_LEAST_FLIGHT_S):
            return None
        return last + self._count_samples(_UNLOADING_S), first - self._count_samples(_LOADING_S)

    def find_touchdown(self, last: int, first: int, opens: bool) -> float:
        """Crossing ahead of sample ``first``; ``opens`` where no contact comes before."""
        flight = self._find_flight(last, first)
        if flight is None:
            return nan
        start = max(0 if opens else flight[0], flight[1] - self._count_samples(_MOST_ZERO_S))
        level = float(np.mean(self.force_n[start : flight[1]])) + self.threshold_n
        below = np.flatnonzero(self.force_n[:first] < level)
        return (
            self._interpolate_time(int(below[-1]), int(below[-1]) + 1, level) if len(below) else nan
        )

    def find_toe_off(self, last: int, first: int) -> float:
        """Crossing behind sample ``last``."""
        flight = self._find_flight(last, first)
        if flight is None:
            return nan
        stop = min(flight[1], flight[0] + self._count_samples(_MOST_ZERO_S))
        level = float(np.mean(self.force_n[flight[0] : stop])) + self.threshold_n
        beyond = np.flatnonzero(self.force_n[last:] < level)
        at = last + int(beyond[0]) if len(beyond) else 0
        return self._interpolate_time(at, at - 1, level) if len(beyond) else nan

    def _interpolate_time(self, low: int, high: int, level: float) -> float:
        """Time of the level between a sample below it and a neighbour above."""
        share = (level - self.force_n[low]) / (self.force_n[high] - self.force_n[low])
        return float(self.time_s[low] + share * (self.time_s[high] - self.time_s[low]))
