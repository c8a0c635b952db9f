"""What was done to an object, stage by stage."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class HistoryEntry:
    """One stage that an object went through; written only after the stage succeeded.

    Parameters
    ----------
    stage : str
        Name of the stage, as in ``conditioning.timebase``.
    what : str
        One sentence for people.
    parameters : mapping
        The numbers that the stage used, units in the names.
    """

    stage: str
    what: str
    parameters: Mapping[str, Any] = field(default_factory=dict)
