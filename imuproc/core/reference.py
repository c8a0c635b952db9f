"""What a video, force plate or row of photocells says of the same contacts."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

ReferenceKind = Literal["video", "force plate", "photocells", "events", "markers"]


@dataclass(frozen=True, eq=False)
class Reference:
    """Contacts as another measurement tells them, in order, on a clock of its own or on none.

    Parameters
    ----------
    source : str
        Path of the file, or a name of it for people.
    side : ndarray of str, shape (m,)
        ``left``, ``right``, or empty where unknown.
    touchdown_s, toe_off_s : ndarray, shape (m,)
        Event times in s on the reference's clock; NaN where not seen, all NaN without a clock.
    contact_time_s, flight_time_s : ndarray, shape (m,)
        In s, as the reference states them where it has no clock of events; otherwise NaN: they
        follow from the events. Flight time is that after the contact.
    kind : str
        ``video``, ``force plate``, ``photocells``, ``events`` or ``markers``.
    has_clock : bool
        Whether touchdown or toe-off times are given.
    resolution_s : float
        Frame or sampling interval in s: one event is no better known than this. NaN if unknown.
    threshold_n : float or None
        Vertical force in N above which the foot counts as on the ground.
    angles : mapping from str to ndarray, shape (m,)
        By the name of our column, in deg.
    start_s, end_s : float
        What the reference covers, on its clock; NaN where unknown.
    notes : tuple of str
        What a reader of the comparison should know, a sentence each.
    """

    source: str
    side: NDArray[Any]
    touchdown_s: FloatArray
    toe_off_s: FloatArray
    contact_time_s: FloatArray
    flight_time_s: FloatArray
    kind: ReferenceKind
    has_clock: bool
    resolution_s: float = nan
    threshold_n: float | None = None
    angles: Mapping[str, FloatArray] = field(default_factory=dict)
    start_s: float = nan
    end_s: float = nan
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.touchdown_s)
