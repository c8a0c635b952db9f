"""What became of one run."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from imuproc.report.summary import RunSummary

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Outcome:
    """What one run leaves behind: small, so that a whole squad's fit in memory.

    Parameters
    ----------
    summary : RunSummary
        Its row of the run table, also when it failed.
    steps : DataFrame or None
        Its step table; None when it failed.
    log : str
        For the log of the process: warnings and, after an unexpected error, the traceback.
    """

    summary: RunSummary
    steps: "pd.DataFrame | None"
    log: str = ""

    @property
    def failed(self) -> bool:
        """Whether the run could not be processed."""
        return self.summary.status == "failed"
