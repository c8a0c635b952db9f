"""What became of one run."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from imuproc.results.summary import RunSummary

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Row:
    """What the tables hold of one run.

    Parameters
    ----------
    task : str
        Id in the session file; a long log gives several rows.
    summary : RunSummary
        Its row of the run table, also when it failed.
    steps : DataFrame or None
        Its step table; None when it failed.
    """

    task: str
    summary: RunSummary
    steps: "pd.DataFrame | None"

    @property
    def failed(self) -> bool:
        """Whether the run could not be processed."""
        return self.summary.status == "failed"


@dataclass(frozen=True)
class Outcome:
    """What work on one recording leaves behind besides its archive: small, sent by the worker.

    Parameters
    ----------
    run : str
        Id in the session file.
    state : {"done", "reused", "failed"}
        Reused: its archive was there, whole and of the same inputs, settings and programs.
    steps : int
        Steps found.
    seconds : float
        How long it took, in s.
    reason : str
        Why it failed.
    log : str
        For the log of the process: warnings and, after an unexpected error, the traceback.
    rows : tuple of Row
        What the tables hold of it, read back from the archive by who has just written it.
    """

    run: str
    state: Literal["done", "reused", "failed"]
    steps: int = 0
    seconds: float = 0.0
    reason: str = ""
    log: str = ""
    rows: tuple[Row, ...] = field(default=(), compare=False, repr=False)
