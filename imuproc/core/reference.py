"""What another method measured of the same steps: video, force plates, photocells, markers."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import nan
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

ReferenceKind = Literal["video", "force plate", "photocells", "events", "markers"]


@dataclass(frozen=True, eq=False)
class Reference:
    """Contacts of one run as a reference method gives them, in the order of the run.

    Parameters
    ----------
    source : str
        The file as the study file names it.
    side : ndarray of str, shape (m,)
        ``left``, ``right``, or empty where the reference does not tell.
    touchdown_s, toe_off_s : ndarray, shape (m,)
        Event times in s on the reference's own clock; NaN where an event was not seen, and
        throughout where the reference has no clock.
    contact_time_s, flight_time_s : ndarray, shape (m,)
        Durations in s that the reference itself states, flight being the one after this contact;
        NaN where it states none: with a clock, durations follow from the events.
    kind : {"video", "force plate", "photocells", "events", "markers"}
        How events came about; ``events`` where the file does not say.
    has_clock : bool
        Whether events have times. Without, contacts are matched by their order.
    resolution_s : float
        Interval between frames or samples in s; NaN where it is not known. Events read off frames
        have a standard uncertainty of it divided by √12 (uniform distribution, JCGM 100:2008,
        4.3.7).
    threshold_n : float or None
        Vertical force in N that counts as contact; None where events do not come from force.
    angles : mapping from str to ndarray, shape (m,)
        In deg, by the names of the step table's columns, such as ``shin_angle_touchdown_deg``;
        NaN where it was not measured.
    start_s, end_s : float
        What the reference covers, in s on its own clock; NaN where it is not known.
    notes : tuple of str
        What the reader met with or decided, in sentences for people.
    angle_resolution_s : float
        Interval between the frames that angles were read from, in s; NaN where it is not known.
    left_out_s : tuple of float
        An instant within each contact that was there and is not given, such as one over a plate's
        edge, in s on its own clock: who finds a step there invents nothing.
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
    angle_resolution_s: float = nan
    left_out_s: tuple[float, ...] = ()

    def __len__(self) -> int:
        return len(self.touchdown_s)

    def take(self, keep: NDArray[Any]) -> "Reference":
        """Contacts picked by a boolean mask or by indices, in that order."""
        return replace(
            self,
            side=self.side[keep],
            touchdown_s=self.touchdown_s[keep],
            toe_off_s=self.toe_off_s[keep],
            contact_time_s=self.contact_time_s[keep],
            flight_time_s=self.flight_time_s[keep],
            angles={name: values[keep] for name, values in self.angles.items()},
        )
