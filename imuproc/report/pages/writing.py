"""The whole report remade from the archives in a folder of results, nothing processed again."""

import csv
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from typing import Any, Final

import pandas as pd

from imuproc.assessment.cues import Cue
from imuproc.assessment.targets import DEFAULT, TargetSet, choose_set, read_targets
from imuproc.core.errors import ArchiveError, SessionError
from imuproc.files.whole import replace_file
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.files.workers import share_out
from imuproc.report.pages.compare_page import compare_name, compare_page
from imuproc.report.pages.run_page import run_page
from imuproc.report.pages.squad_page import (
    SquadRow,
    find_recurring,
    page_name,
    squad_page,
    squad_row,
)
from imuproc.report.pages.view import RunView, failed_view, read_view
from imuproc.report.picture import write_picture
from imuproc.report.spreadsheet import write_steps_xlsx
from imuproc.results.archive.reading import open_archive
from imuproc.results.folder import RUNS_FOLDER, SESSION_ARCHIVE
from imuproc.results.tables import REPORT_FOLDER, RUNS_CSV, STEPS_XLSX, join_steps

INDEX: Final = "index.html"


@dataclass
class _Gathered:
    """What the index and the spreadsheet need of runs; views themselves are not kept."""

    rows: list[SquadRow] = field(default_factory=list)
    steps: list[pd.DataFrame] = field(default_factory=list)
    judged: list[pd.DataFrame] = field(default_factory=list)
    cues: dict[str, dict[str, tuple[Cue, ...]]] = field(default_factory=dict)
    sets: dict[str, TargetSet] = field(default_factory=dict)
    written: list[str] = field(default_factory=list)
    views: list[RunView] = field(default_factory=list)

    def add(self, view: RunView) -> None:
        """Take what is needed of one run."""
        self.rows.append(squad_row(view))
        if view.failed:
            return
        self.steps.append(view.steps)
        self.judged.append(view.verdicts)
        self.cues.setdefault(view.summary.athlete, {})[view.summary.run] = view.cues
        self.views.append(replace(view, curves={}, uncertainty={}))
        self.sets[view.targets.name] = view.targets

    def join(self, other: "_Gathered") -> None:
        """Take what another has gathered, after what is there."""
        self.rows += other.rows
        self.steps += other.steps
        self.judged += other.judged
        for athlete, of_runs in other.cues.items():
            self.cues.setdefault(athlete, {}).update(of_runs)
        self.sets |= other.sets
        self.written += other.written
        self.views += other.views


@dataclass(frozen=True)
class _Request:
    """What is asked of those who make the pages."""

    report: Path
    session: Mapping[str, Any]
    sets: Mapping[str, TargetSet]
    only: Collection[str] | None

    def needs_page(self, run_id: str, source: Path) -> bool:
        """Whether the page of a run is made anew."""
        there = (self.report / page_name(run_id)).is_file()
        return self.only is None or not there or bool({run_id, source.stem} & set(self.only))


def write_report(
    folder: Path,
    targets: Path | None = None,
    only: Collection[str] | None = None,
    jobs: int = 1,
) -> dict[str, str]:
    """Write pages, pictures, index and spreadsheet from the archives in a folder of results.

    Parameters
    ----------
    folder : Path
        Of results: with ``session.h5``, or with archives in ``runs/``. Runs that failed are taken
        from ``runs.csv`` where that is there.
    targets : Path, optional
        Target sets beside the default one.
    only : collection of str, optional
        Runs whose pages are made anew, named as in the session file; the others keep the page
        that they have. All when left out. Index and spreadsheet hold all runs either way.
    jobs : int
        Processes that share the work.

    Returns
    -------
    dict from str to str
        Name of each file written within the folder, and its path.

    Raises
    ------
    ArchiveError
        There is no archive, or one cannot be read.
    SessionError
        The targets are wrong, an athlete names a set that is not among them, or a file cannot be
        written.
    """
    sets = read_targets(targets)
    sources, session = _list_sources(folder)
    request = _Request(folder / REPORT_FOLDER, session, sets, only)
    try:
        request.report.mkdir(exist_ok=True)
        gathered = _shared_out(sources, request, jobs)
        _add_failed(folder, request, gathered)
        _write_comparisons(request.report, gathered)
        again = find_recurring(gathered.cues)
        _write_page(request.report / INDEX, squad_page(session, gathered.rows, again))
        _write_spreadsheet(folder / STEPS_XLSX, gathered, sets)
    except OSError as error:
        name = Path(error.filename or request.report).name
        raise SessionError(
            f"report: {name} in {folder} cannot be written ({error.strerror or error}); make room "
            "or choose another folder"
        ) from error
    names = [f"{REPORT_FOLDER}/{INDEX}", *gathered.written, STEPS_XLSX]
    return {name: (folder / name).as_posix() for name in names}


def write_comparison(folder: Path, first: RunView, second: RunView) -> Path:
    """Write the page of two runs side by side.

    Parameters
    ----------
    folder : Path
        As for :func:`write_report`.
    first, second : RunView
        From :func:`two_views`.

    Returns
    -------
    Path

    Raises
    ------
    SessionError
        The page cannot be written.
    """
    path = folder / REPORT_FOLDER / compare_name(first.summary.run, second.summary.run)
    try:
        path.parent.mkdir(exist_ok=True)
        _write_page(path, compare_page(first, second))
    except OSError as error:
        raise SessionError(f"compare: {path} cannot be written ({error.strerror})") from error
    return path


def two_views(folder: Path, runs: tuple[str, str], targets: Path | None = None) -> list[RunView]:
    """Two runs of a folder of results.

    Parameters
    ----------
    folder, targets
        As for :func:`write_report`.
    runs : (str, str)
        Of one athlete or two.

    Returns
    -------
    list of RunView

    Raises
    ------
    ArchiveError, SessionError
        As for :func:`write_report`; or there is no such run with steps.
    """
    sets = read_targets(targets)
    sources, session = _list_sources(folder)
    where = {run_id: path for path, run_id in sources}
    views = []
    for run in runs:
        if run not in where:
            raise SessionError(
                f"compare: found no run {quote(run)} in {folder}; allowed: {quote_all(where)}"
                + suggest_word(run, where)
            )
        with open_archive(where[run]) as archive:
            view = read_view(archive.run(run), session, sets, drawn=False)
        if not view.has_steps:
            raise SessionError(f"compare: run {quote(run)} has no steps to compare")
        views.append(view)
    return views


def _write_comparisons(report: Path, gathered: _Gathered) -> None:
    """A page for each run and the one before it of the same athlete."""
    before: dict[str, RunView] = {}
    for view in gathered.views:
        if not view.has_steps:
            continue
        earlier = before.get(view.summary.athlete)
        before[view.summary.athlete] = view
        if earlier is not None:
            name = compare_name(earlier.summary.run, view.summary.run)
            _write_page(report / name, compare_page(earlier, view))
            gathered.written.append(f"{REPORT_FOLDER}/{name}")
            place = next(k for k, row in enumerate(gathered.rows) if row.run == view.summary.run)
            gathered.rows[place] = replace(gathered.rows[place], compare=name)


def run_views(folder: Path, targets: Path | None = None) -> Iterator[RunView]:
    """Every run of a folder of results, one after the other, without what only drawings need.

    Parameters
    ----------
    folder, targets
        As for :func:`write_report`, and with its errors.
    """
    sets = read_targets(targets)
    sources, session = _list_sources(folder)
    known = {run_id for _, run_id in sources}
    for path, runs in groupby(sources, key=lambda source: source[0]):
        with open_archive(path) as archive:
            for _, run_id in runs:
                yield read_view(archive.run(run_id), session, sets, drawn=False)
    for row in _failed_rows(folder, known):
        yield failed_view(row, session, sets)


def _list_sources(folder: Path) -> tuple[list[tuple[Path, str]], Mapping[str, Any]]:
    """Archive and id of each run, and what is known of the session."""
    whole = folder / SESSION_ARCHIVE
    paths = [whole] if whole.is_file() else sorted((folder / RUNS_FOLDER).glob("*.h5"))
    if not paths:
        raise ArchiveError(
            f"{folder}: found neither {SESSION_ARCHIVE} nor archives in {RUNS_FOLDER}/; give the "
            "folder that `imuproc process` wrote to with -o"
        )
    sources: list[tuple[Path, str]] = []
    session: Mapping[str, Any] = {}
    for path in paths:
        with open_archive(path) as archive:
            session = session or archive.session
            sources += [(path, run_id) for run_id in archive.runs]
    return sources, session


def _shared_out(sources: Sequence[tuple[Path, str]], request: _Request, jobs: int) -> _Gathered:
    """All runs, in parts of equal size for each process, put together in their order."""
    workers = max(1, min(jobs, len(sources)))
    if workers == 1:
        return _write_part(sources, request)
    from joblib import delayed

    size = -(-len(sources) // workers)
    parts = [sources[at : at + size] for at in range(0, len(sources), size)]
    gathered = _Gathered()
    for part in share_out((delayed(_write_part)(part, request) for part in parts), workers):
        gathered.join(part)
    return gathered


def _write_part(sources: Sequence[tuple[Path, str]], request: _Request) -> _Gathered:
    """Pages of some runs; each archive is opened once."""
    gathered = _Gathered()
    for path, runs in groupby(sources, key=lambda source: source[0]):
        with open_archive(path) as archive:
            for _, run_id in runs:
                wanted = request.needs_page(run_id, path)
                view = read_view(archive.run(run_id), request.session, request.sets, drawn=wanted)
                if wanted:
                    gathered.written += _write_run(request.report, view)
                gathered.add(view)
    return gathered


def _add_failed(folder: Path, request: _Request, gathered: _Gathered) -> None:
    """Pages and rows of the runs that failed and have no archive."""
    for row in _failed_rows(folder, {row.run for row in gathered.rows}):
        view = failed_view(row, request.session, request.sets)
        gathered.written += _write_run(request.report, view)
        gathered.add(view)


def _failed_rows(folder: Path, known: Collection[str]) -> list[dict[str, str]]:
    """Rows of the run table that failed, but for those of runs that are known."""
    path = folder / RUNS_CSV
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as lines:
        failed = [row for row in csv.DictReader(lines) if row.get("status") == "failed"]
    return [row for row in failed if row.get("run") and row["run"] not in known]


def _write_run(report: Path, view: RunView) -> list[str]:
    page = page_name(view.summary.run)
    picture = page.removesuffix(".html") + ".png"
    _write_page(report / page, run_page(view))
    if not view.has_steps:
        (report / picture).unlink(missing_ok=True)  # of an earlier time, when there were steps
        return [f"{REPORT_FOLDER}/{page}"]
    write_picture(report / picture, view)
    return [f"{REPORT_FOLDER}/{page}", f"{REPORT_FOLDER}/{picture}"]


def _write_page(path: Path, text: str) -> None:
    with replace_file(path) as temporary:
        temporary.write_text(text, encoding="utf-8", errors="replace", newline="\n")


def _write_spreadsheet(path: Path, gathered: _Gathered, sets: Mapping[str, TargetSet]) -> None:
    judged = [table for table in gathered.judged if len(table)]
    columns = ["run", "step", "figure", "verdict"]
    together = pd.concat(judged) if judged else pd.DataFrame({name: [] for name in columns})
    used = list(gathered.sets.values()) or [choose_set(sets, DEFAULT)]
    write_steps_xlsx(path, join_steps(gathered.steps), together, used)
