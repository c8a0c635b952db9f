"""What ``imuproc process`` left of a run: its steps, what was recorded, and its archive."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import nan
from pathlib import Path
from typing import Final

import pandas as pd

from imuproc.core.errors import ArchiveError, RunError, SessionError
from imuproc.files.text import clean_text
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.results.archive.reading import ArchivedRun, open_archive
from imuproc.results.folder import SESSION_ARCHIVE, archive_path
from imuproc.results.squad_tables import SquadTables, read_squad


@dataclass(frozen=True, eq=False)
class RunResult:
    """One run of the results.

    Parameters
    ----------
    run, athlete, session : str
    steps : DataFrame
        Its rows of the step table.
    covers_s : tuple of (float, float) or None
        What its recording covers, on the clock of the step table; None where that is not known.
    rate_hz : float
        Rate at which it was worked on; NaN where that is not known.
    sites : tuple of str
        Sensors.
    version : str
        Of imuproc, when it was processed; empty where that is not known.
    archive : Path or None
        Where its signals are.
    notes : tuple of str
        What could not be read besides, in sentences.
    """

    run: str
    athlete: str
    session: str
    steps: pd.DataFrame
    covers_s: tuple[float, float] | None = None
    rate_hz: float = nan
    sites: tuple[str, ...] = ()
    version: str = ""
    archive: Path | None = None
    notes: tuple[str, ...] = ()


@dataclass
class Results:
    """Folders of results, each read once; use :meth:`run`."""

    _tables: dict[Path, SquadTables] = field(default_factory=dict)
    _wrong: dict[Path, str] = field(default_factory=dict)

    def run(self, folder: Path, source: str, run_id: str) -> RunResult:
        """One run of a folder.

        Parameters
        ----------
        folder : Path
        source : str
            The folder as the study file names it.
        run_id : str

        Raises
        ------
        SessionError
            The folder's tables cannot be read.
        RunError
            The run is not there, or could not be processed.
        """
        tables = self._read_tables(folder)
        summary = next((run for run in tables.runs if run.run == run_id), None)
        if summary is None:
            parts = [run.run for run in tables.runs if run.run.startswith(f"{run_id}_")]
            known = [run.run for run in tables.runs]
            raise RunError(
                f"found no run {quote(run_id)} in the results {quote(source)}; allowed: "
                + (
                    f"one of the runs found in its log: {quote_all(parts)}"
                    if parts
                    else quote_all(known)
                )
                + ("" if parts else suggest_word(run_id, known))
            )
        if summary.status == "failed":
            raise RunError(
                f"has no figures, it could not be processed: {clean_text(summary.reason)}"
            )
        steps = tables.steps[run_id]
        if not len(steps):
            raise RunError(f"has no steps in the results {quote(source)}")
        found = RunResult(run_id, summary.athlete, summary.session, steps.reset_index(drop=True))
        return _add_archive(found, folder)

    def _read_tables(self, folder: Path) -> SquadTables:
        if folder in self._wrong:
            raise SessionError(self._wrong[folder])
        if folder not in self._tables:
            try:
                self._tables[folder] = read_squad(folder)
            except SessionError as error:
                self._wrong[folder] = str(error)
                raise
        return self._tables[folder]


_NO_ARCHIVE: Final = (
    "There is no archive of the run: what its recording covers is not known, every contact of the "
    "reference counts, and signals are not drawn."
)


def _add_archive(found: RunResult, folder: Path) -> RunResult:
    """The run with what its archive tells; without, where there is none that can be read."""
    # Runs found in a log are kept together under the log's id, which holds no underscore.
    own = archive_path(folder, found.run.partition("_")[0])
    path = own if os.path.isfile(own) else folder / SESSION_ARCHIVE
    if not os.path.isfile(path):
        return replace(found, notes=(_NO_ARCHIVE,))
    try:
        with open_archive(path) as archive:
            run = archive.run(found.run)
            time_s = run.time_s
            return replace(
                found,
                covers_s=(float(time_s[0]), float(time_s[-1])),
                rate_hz=float(run.about["rate_hz"]),
                sites=tuple(run.sites),
                version=_read_version(run),
                archive=path,
            )
    except ArchiveError as error:
        return replace(found, notes=(f"{_NO_ARCHIVE} {clean_text(str(error))}",))


def _read_version(run: ArchivedRun) -> str:
    versions: Mapping[str, str] = run.versions
    return str(versions.get("imuproc", ""))
