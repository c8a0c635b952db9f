"""Contacts of a table and a reference brought together one to one."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linear_sum_assignment

from imuproc.agreement.events import FloatArray, IntArray, to_side_signs
from imuproc.agreement.statistics.shares import Share, estimate_f1, estimate_share


@dataclass(frozen=True, eq=False)
class Matching:
    """Which rows belong together.

    Parameters
    ----------
    table, reference : ndarray of int, shape (p,)
        Rows of each pair, in order of the table.
    table_only, reference_only : ndarray of int
        Rows without a partner.
    """

    table: IntArray
    reference: IntArray
    table_only: IntArray
    reference_only: IntArray


class ContactTimes(NamedTuple):
    """Contacts by their events, each array of shape (n,); times on one clock, NaN where unknown."""

    side: ArrayLike
    touchdown_s: ArrayLike
    toe_off_s: ArrayLike


def match_contacts(ours: ContactTimes, theirs: ContactTimes, window_s: float) -> Matching:
    """Contacts matched one to one: as many as possible, then with the least total distance.

    Two contacts may be matched when their touchdowns (where either has none: their toe-offs) are
    within the window and their sides are not known to differ. Optimal assignment (Kuhn 1955, Nav
    Res Logist Q 2:83; from memory) within each interval without a longer pause.

    Parameters
    ----------
    ours, theirs : ContactTimes
        On one clock.
    window_s : float
        Largest distance in s.

    Raises
    ------
    ValueError
        If the window is not positive.
    """
    if not window_s > 0.0:
        raise ValueError(f"window_s must be positive, got {window_s}")
    distance = _compute_distance(ours, theirs)
    sides = np.multiply.outer(to_side_signs(ours.side), to_side_signs(theirs.side))
    allowed = (distance <= window_s) & (sides >= 0)
    left, right = _assign_pairs(distance, allowed, window_s)
    return Matching(
        left,
        right,
        np.setdiff1d(np.arange(distance.shape[0]), left),
        np.setdiff1d(np.arange(distance.shape[1]), right),
    )


def match_times(ours_s: ArrayLike, theirs_s: ArrayLike, window_s: float) -> Matching:
    """Single events without sides matched one to one; NaN have no partner."""
    first, second = (np.asarray(t, dtype=np.float64) for t in (ours_s, theirs_s))
    ours, theirs = (ContactTimes(np.full(len(t), ""), t, t) for t in (first, second))
    return match_contacts(ours, theirs, window_s)


def _compute_distance(ours: ContactTimes, theirs: ContactTimes) -> FloatArray:
    """Distance of every contact to every other in s, inf where there is none, shape (n, m)."""
    pairs = (ours.touchdown_s, theirs.touchdown_s), (ours.toe_off_s, theirs.toe_off_s)
    down, off = (
        np.abs(np.subtract.outer(np.asarray(own, float), np.asarray(other, float)))
        for own, other in pairs
    )
    distance = np.where(np.isfinite(down), down, off)
    return np.where(np.isfinite(distance), distance, np.inf)


def _assign_pairs(
    distance: FloatArray, allowed: NDArray[np.bool_], window_s: float
) -> tuple[IntArray, IntArray]:
    """Optimal pairs among the allowed ones."""
    # Every pair is worth more than all distances together can cost: most pairs come first.
    worth = (1.0 + min(distance.shape, default=0)) * window_s
    cost = np.where(allowed, distance - worth, 0.0)
    rows, columns = linear_sum_assignment(cost)
    kept = allowed[rows, columns]
    return rows[kept].astype(np.int64), columns[kept].astype(np.int64)


@dataclass(frozen=True)
class Detection:
    """How many contacts were found, with precision, recall and F1.

    Parameters
    ----------
    found, missed, invented : int
        In both, in the reference only, in the table only.
    precision, recall, f1 : Share
        With intervals of 95 %: Wilson's; for F1 see
        :func:`imuproc.agreement.statistics.shares.estimate_f1`.
    """

    found: int
    missed: int
    invented: int
    precision: Share
    recall: Share
    f1: Share

    def to_row(self) -> Mapping[str, float]:
        """One row of a table."""
        row: dict[str, float] = {
            "found": self.found,
            "missed": self.missed,
            "invented": self.invented,
        }
        for name in ("precision", "recall", "f1"):
            share: Share = getattr(self, name)
            row |= {name: share.value, f"{name}_low": share.low, f"{name}_high": share.high}
        return row


def count_detection(found: int, missed: int, invented: int) -> Detection:
    """Counts with their shares."""
    return Detection(
        found,
        missed,
        invented,
        precision=estimate_share(found, found + invented),
        recall=estimate_share(found, found + missed),
        f1=estimate_f1(found, missed, invented),
    )
