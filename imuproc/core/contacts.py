"""Foot-ground contacts of one run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imuproc.core.history import HistoryEntry

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Contacts:
    """Touchdown and toe-off of every contact, in order of touchdown.

    Parameters
    ----------
    side : ndarray of str, shape (m,)
        ``left`` or ``right``.
    touchdown_s, toe_off_s : ndarray, shape (m,)
        Event times in s on the recording's clock; sub-sample.
    touchdown_u_s, toe_off_u_s : ndarray, shape (m,)
        Standard uncertainties in s between the contacts of one athlete in one set-up.
    evidence : mapping from str to ndarray, shape (m,)
        Every criterion's value, so that a doubtful contact is explained by its own row.
    history : tuple of HistoryEntry
    """

    side: NDArray[Any]
    touchdown_s: FloatArray
    toe_off_s: FloatArray
    touchdown_u_s: FloatArray
    toe_off_u_s: FloatArray
    evidence: Mapping[str, FloatArray] = field(default_factory=dict)
    history: tuple[HistoryEntry, ...] = ()

    def __len__(self) -> int:
        return len(self.touchdown_s)

    @property
    def touchdown_reference_u_s(self) -> FloatArray:
        """Standard uncertainty of touchdown that all contacts share, from the evidence; else 0."""
        return self.evidence.get("touchdown_reference_u_s", np.zeros(len(self)))

    @property
    def toe_off_reference_u_s(self) -> FloatArray:
        """Standard uncertainty of toe-off that all contacts share, from the evidence; else 0."""
        return self.evidence.get("toe_off_reference_u_s", np.zeros(len(self)))

    def take(self, keep: NDArray[Any]) -> "Contacts":
        """Contacts picked by a boolean mask or by indices, in that order."""
        return Contacts(
            side=self.side[keep],
            touchdown_s=self.touchdown_s[keep],
            toe_off_s=self.toe_off_s[keep],
            touchdown_u_s=self.touchdown_u_s[keep],
            toe_off_u_s=self.toe_off_u_s[keep],
            evidence={name: values[keep] for name, values in self.evidence.items()},
            history=self.history,
        )
