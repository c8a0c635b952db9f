"""What processing one recording gives."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion
from imuproc.core.recording import ConditionedRecording

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Distance:
    """Way along the run from one contact to a later one.

    Parameters
    ----------
    value_m, u_m : float
        The way and its standard uncertainty.
    parts_m : mapping from str to float
        That uncertainty by named part.
    """

    value_m: float
    u_m: float
    parts_m: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Result:
    """Everything that processing one recording gives.

    Parameters
    ----------
    session, athlete, run : str
        Ids; ``run`` is the id in the session file, or that of the one run in a part.
    steps : DataFrame
        One row per step, columns as in :func:`imuproc.core.columns.step_table_columns`.
    uncertainty : mapping from str to DataFrame
        For each figure its standard uncertainty by named part, rows as in ``steps``.
    curves : DataFrame
        One row per sample: ``time_s``, shin angle, foot pitch and dorsiflexion of each side in deg.
    contacts : Contacts
    motion : Motion
    conditioned : ConditionedRecording
    flags : tuple of RaisedFlag
        Flags of the run and of its steps.
    history : tuple of HistoryEntry
    distances : mapping from str to Distance
        By run as ``steps`` names it: over the steps before ``slowing``, from step 1 on; a run
        is not in it where a length in between is missing.
    parts : tuple of Result
        Where the recording held several runs: each of them by itself, with its own motion,
        contacts and signals, and ids as in ``steps``. Empty otherwise.
    """

    session: str
    athlete: str
    run: str
    steps: "pd.DataFrame"
    uncertainty: "Mapping[str, pd.DataFrame]"
    curves: "pd.DataFrame"
    contacts: Contacts
    motion: Motion
    conditioned: ConditionedRecording
    flags: tuple[RaisedFlag, ...]
    history: tuple[HistoryEntry, ...]
    distances: Mapping[str, Distance] = field(default_factory=dict)
    parts: "tuple[Result, ...]" = ()
