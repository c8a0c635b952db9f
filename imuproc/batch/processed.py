"""What became of a whole session."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from imuproc.batch.outcome import Outcome, Row
from imuproc.results.summary import RunSummary
from imuproc.results.tables import build_phases_table, build_runs_table, join_steps


@dataclass(frozen=True, eq=False)
class Processed:
    """What became of a session: its tables, what failed and why, and where the files are.

    Tables hold the runs that were asked for; those in the folder hold every other run too whose
    archive is current.

    Parameters
    ----------
    session : str
        Session id.
    folder : Path
        Where the results are, absolute.
    asked : int
        Runs that were asked for.
    rows : tuple of Row
        Of the runs that were asked for, in the order of the session file; a long log may give
        several.
    outcomes : dict from str to Outcome
        By run of the session file: ``done``, ``reused`` or ``failed``, how long it took; runs that
        an interruption left out are not in it.
    files : dict from str to str
        Name of each file written and its path.
    interrupted : bool
        Whether the user stopped it.
    complaints : tuple of str
        What else went wrong, in sentences, such as why there is no report.
    """

    session: str
    folder: Path
    asked: int
    rows: tuple[Row, ...]
    outcomes: dict[str, Outcome]
    files: dict[str, str]
    interrupted: bool
    complaints: tuple[str, ...] = ()

    @cached_property
    def steps(self) -> pd.DataFrame:
        """The step table, columns as in :data:`imuproc.core.columns.STEP_COLUMNS`."""
        return join_steps([row.steps for row in self.rows if row.steps is not None])

    @cached_property
    def runs(self) -> pd.DataFrame:
        """The run table, columns as in :data:`imuproc.results.columns.RUN_COLUMNS`."""
        return build_runs_table(self.summaries)

    @cached_property
    def phases(self) -> pd.DataFrame:
        """The phase table, columns as in :data:`imuproc.results.columns.PHASE_COLUMNS`."""
        return build_phases_table(self.summaries)

    @property
    def summaries(self) -> list[RunSummary]:
        """The row of each run, with its flags and what they are about."""
        return [row.summary for row in self.rows]

    @property
    def failed(self) -> dict[str, str]:
        """By run that failed, why."""
        return {run.run: run.reason for run in self.summaries if run.status == "failed"}
