"""What another method measured of the same steps: video, force plates, photocells, markers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

Kind = Literal["video", "force plate", "photocells", "markers", "events"]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)


@dataclass(frozen=True, eq=False)
class Reference:
    """Contacts of one run as a reference method gives them, in the order of the run.

    Parameters
    ----------
    source : str
        The file as the study file names it.
    side : tuple of str, length m
        ``left``, ``right``, or empty where the reference does not tell.
    touchdown_s, toe_off_s : ndarray, shape (m,)
        Event times in s on the reference's own clock; NaN where an event was not seen, and
        throughout where the reference has no clock.
    contact_time_s, flight_time_s : ndarray, shape (m,)
        Durations in s that the reference itself states, flight being the one after this contact;
        NaN where it states none: with a clock, durations follow from the events.
    angles : mapping from str to ndarray, shape (m,)
        By the names of the step table's columns, such as ``shin_angle_touchdown_deg``; NaN where
        it was not measured.
    has_clock : bool
        Whether events have times. Without, contacts are matched by their order.
    resolution_s : float
        Interval between frames or samples in s; NaN where it is not known. Events read off frames
        have a standard uncertainty of it divided by √12 (uniform distribution, JCGM 100:2008,
        4.3.7).
    threshold_n : float or None
        Vertical force in N that counts as contact; None where events do not come from force.
    kind : {"video", "force plate", "photocells", "markers", "events"}
        How events came about; ``events`` where the file does not say.
    start_s, end_s : float
        What the reference covers, in s on its own clock; NaN where it is not known.
    angle_resolution_s : float
        Interval between the frames that angles were read from, in s; NaN where it is not known.
    notes : tuple of str
        What the reader met with or decided, in sentences for people.
    """

    source: str
    side: tuple[str, ...]
    touchdown_s: FloatArray
    toe_off_s: FloatArray
    contact_time_s: FloatArray
    flight_time_s: FloatArray
    angles: Mapping[str, FloatArray]
    has_clock: bool
    resolution_s: float
    threshold_n: float | None
    kind: Kind
    start_s: float = float("nan")
    end_s: float = float("nan")
    angle_resolution_s: float = float("nan")
    notes: tuple[str, ...] = field(default=())

    def __len__(self) -> int:
        return len(self.side)

    def take(self, keep: NDArray[Any]) -> "Reference":
        """Contacts picked by a boolean mask or by indices, in that order."""
        places = np.arange(len(self))[keep]
        return Reference(
            source=self.source,
            side=tuple(self.side[place] for place in places),
            touchdown_s=self.touchdown_s[places],
            toe_off_s=self.toe_off_s[places],
            contact_time_s=self.contact_time_s[places],
            flight_time_s=self.flight_time_s[places],
            angles={name: values[places] for name, values in self.angles.items()},
            has_clock=self.has_clock,
            resolution_s=self.resolution_s,
            threshold_n=self.threshold_n,
            kind=self.kind,
            start_s=self.start_s,
            end_s=self.end_s,
            angle_resolution_s=self.angle_resolution_s,
            notes=self.notes,
        )
