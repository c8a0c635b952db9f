"""The whole report remade from the archives in a folder of results, nothing processed again."""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd

from imuproc.archive.reading import Archive, open_archive
from imuproc.assessment.targets import DEFAULT, TargetSet, chosen, read_targets
from imuproc.core.errors import ArchiveError, SessionError
from imuproc.core.files import replaced_file
from imuproc.report.pages.run_page import run_page
from imuproc.report.pages.squad_page import (
    SquadRow,
    page_name,
    recurring,
    squad_page,
    squad_row,
)
from imuproc.report.pages.view import RunView, failed_view, read_view
from imuproc.report.picture import write_picture
from imuproc.report.spreadsheet import STEPS_XLSX, write_steps_xlsx
from imuproc.report.tables import RUNS_CSV, joined_steps

REPORT_FOLDER: Final = "report"
INDEX: Final = "index.html"
SESSION_ARCHIVE: Final = "session.h5"
RUNS_FOLDER: Final = "runs"


@dataclass
class _Gathered:
    """What the index and the spreadsheet need of all runs; views themselves are not kept."""

    rows: list[SquadRow] = field(default_factory=list)
    steps: list[pd.DataFrame] = field(default_factory=list)
    judged: list[pd.DataFrame] = field(default_factory=list)
    by_athlete: dict[str, list[pd.DataFrame]] = field(default_factory=dict)
    sets: dict[str, TargetSet] = field(default_factory=dict)

    def add(self, view: RunView) -> None:
        """Take what is needed of one run."""
        self.rows.append(squad_row(view))
        if view.failed:
            return
        self.steps.append(view.steps)
        self.judged.append(view.verdicts)
        self.by_athlete.setdefault(view.summary.athlete, []).append(view.verdicts)
        self.sets[view.targets.name] = view.targets


def write_report(folder: Path, targets: Path | None = None) -> dict[str, str]:
    """Write pages, pictures, index and spreadsheet from the archives in a folder of results.

    Parameters
    ----------
    folder : Path
        Of results: with ``session.h5``, or with archives in ``runs/``. Runs that failed are taken
        from ``runs.csv`` where that is there.
    targets : Path, optional
        Target sets beside the default one.

    Returns
    -------
    dict from str to str
        Name of each file within the folder, and its path.

    Raises
    ------
    ArchiveError
        There is no archive, or one cannot be read.
    SessionError
        The targets are wrong, an athlete names a set that is not among them, or a file cannot be
        written.
    """
    sets = read_targets(targets)
    report = folder / REPORT_FOLDER
    gathered, written = _Gathered(), [f"{REPORT_FOLDER}/{INDEX}", STEPS_XLSX]
    try:
        report.mkdir(exist_ok=True)
        session: Mapping[str, Any] = {}
        for archive in _archives(folder):
            session = session or archive.session
            for run_id in archive.runs:
                view = read_view(archive.run(run_id), archive.session, sets)
                written += _write_run(report, view)
                gathered.add(view)
        for row in _failed_rows(folder, {row.run for row in gathered.rows}):
            view = failed_view(row, session, sets)
            written += _write_run(report, view)
            gathered.add(view)
        again = recurring(gathered.by_athlete)
        _write(report / INDEX, squad_page(session, gathered.rows, again))
        _write_spreadsheet(folder / STEPS_XLSX, gathered, sets)
    except OSError as error:
        name = Path(error.filename or report).name
        raise SessionError(
            f"report: {name} in {folder} cannot be written ({error.strerror or error}); make room "
            "or choose another folder"
        ) from error
    return {name: (folder / name).as_posix() for name in written}


def _write_run(report: Path, view: RunView) -> list[str]:
    page = page_name(view.summary.run)
    _write(report / page, run_page(view))
    if not view.has_steps:
        return [f"{REPORT_FOLDER}/{page}"]
    picture = page.removesuffix(".html") + ".png"
    write_picture(report / picture, view)
    return [f"{REPORT_FOLDER}/{page}", f"{REPORT_FOLDER}/{picture}"]


def _write(path: Path, text: str) -> None:
    with replaced_file(path) as temporary:
        temporary.write_text(text, encoding="utf-8", errors="replace", newline="\n")


def _write_spreadsheet(path: Path, gathered: _Gathered, sets: Mapping[str, TargetSet]) -> None:
    judged = [table for table in gathered.judged if len(table)]
    columns = ["run", "step", "figure", "verdict"]
    together = pd.concat(judged) if judged else pd.DataFrame({name: [] for name in columns})
    used = list(gathered.sets.values()) or [chosen(sets, DEFAULT)]
    write_steps_xlsx(path, joined_steps(gathered.steps), together, used)


def _archives(folder: Path) -> Iterator[Archive]:
    """The session's archive, or those of its runs where there is none; each closed after use."""
    whole = folder / SESSION_ARCHIVE
    paths = [whole] if whole.is_file() else sorted((folder / RUNS_FOLDER).glob("*.h5"))
    if not paths:
        raise ArchiveError(
            f"{folder}: found neither {SESSION_ARCHIVE} nor archives in {RUNS_FOLDER}/; give the "
            "folder that `imuproc process` wrote to with -o"
        )
    for path in paths:
        with open_archive(path) as archive:
            yield archive


def _failed_rows(folder: Path, known: set[str]) -> list[dict[str, str]]:
    """Rows of the run table that failed and of which there is no archive."""
    path = folder / RUNS_CSV
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row.get("status") == "failed"]
    return [row for row in rows if row.get("run") and row["run"] not in known]
