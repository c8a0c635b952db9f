"""The report for people: along with the tables only pages of what was worked on are new."""

import hashlib
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Final

from imuproc.assessment.targets import choose_set, read_targets
from imuproc.batch.fingerprint import hash_page_sources, list_programs
from imuproc.batch.plan import Task
from imuproc.core.errors import ArchiveError, SessionError
from imuproc.files.disk_errors import describe_write_error
from imuproc.files.whole import replace_file
from imuproc.results.archive.plain import to_json
from imuproc.results.tables import REPORT_FOLDER

_MADE_WITH: Final = ".made-with"
"""Says what the pages in a report were made with."""


def forget_pages(folder: Path, runs: Iterable[str]) -> None:
    """Take away the pages and pictures of runs that are about to be worked on.

    So a page never outlives the archive that it was made from, whenever the work is stopped.

    Parameters
    ----------
    folder : Path
        Of results.
    runs : iterable of str
        Ids as in the session file; a long log has pages for each run found in it.
    """
    report = folder / REPORT_FOLDER
    for run in runs:
        for ending in ("html", "png"):
            others = (*report.glob(f"{run}_*.{ending}"), *report.glob(f"*__{run}.{ending}"))
            for path in (report / f"{run}.{ending}", *others):
                path.unlink(missing_ok=True)


def require_targets(tasks: Iterable[Task], targets: Path | None) -> None:
    """Refuse targets that the report could not be made with, before anything is processed.

    Parameters
    ----------
    tasks : iterable of Task
    targets : Path or None
        Target sets beside the default one.

    Raises
    ------
    SessionError
        The file is missing or wrong, or lacks a set that an athlete names.
    """
    sets = read_targets(targets)
    for name in dict.fromkeys(task.athlete.targets for task in tasks):
        choose_set(sets, name)


def make_report(
    folder: Path,
    worked_on: Collection[str],
    session: Mapping[str, object],
    targets: Path | None,
    jobs: int,
) -> tuple[dict[str, str], str]:
    """Make the report; results stand whatever becomes of it.

    Parameters
    ----------
    folder : Path
        Of results, with its tables and archives.
    worked_on : collection of str
        Runs whose pages are new; the others keep theirs while all that they were made with is the
        same: programs, templates, targets, and what is known of the session.
    session : mapping
        That.
    targets : Path or None
        Target sets beside the default one.
    jobs : int
        Processes that share the work.

    Returns
    -------
    files : dict from str to str
        Name of each file and its path.
    complaint : str
        Why there is no report; empty when there is one.
    """
    try:
        stamp, path = _describe_sources(session, targets), folder / REPORT_FOLDER / _MADE_WITH
        same = path.is_file() and path.read_text(encoding="utf-8") == stamp
        files = _write_pages(folder, targets, worked_on if same else None, jobs)
        with replace_file(path) as temporary:
            temporary.write_text(stamp, encoding="utf-8")
    except (SessionError, ArchiveError, OSError) as error:
        return {}, f"the report could not be made: {error}"
    return files, ""


def remake_report(folder: Path, targets: Path | None, jobs: int) -> dict[str, str]:
    """Make all pages anew from the archives; what they are made with is not noted.

    So the next :func:`make_report` makes them once more, with its own targets.

    Parameters
    ----------
    folder, targets, jobs
        As for :func:`make_report`.

    Returns
    -------
    dict from str to str
        Name of each file and its path.

    Raises
    ------
    ArchiveError, SessionError
        As :func:`imuproc.report.pages.writing.write_report`.
    """
    return _write_pages(folder, targets, None, jobs)


def _write_pages(
    folder: Path, targets: Path | None, only: Collection[str] | None, jobs: int
) -> dict[str, str]:
    """The report written; while all its pages are made anew none of them counts as current."""
    from imuproc.report.pages.writing import write_report  # drawing is heavy, and not always asked

    if only is None:
        stamp = folder / REPORT_FOLDER / _MADE_WITH
        try:
            stamp.unlink(missing_ok=True)
        except OSError as error:
            raise SessionError(describe_write_error(stamp, error)) from error
    return write_report(folder, targets, only, jobs)


def _describe_sources(session: Mapping[str, object], targets: Path | None) -> str:
    own = hashlib.sha256(targets.read_bytes()).hexdigest() if targets is not None else ""
    made_with = {
        "programs": dict(list_programs()),
        "drawn with": hash_page_sources(),
        "targets": own,
        "session": session,
    }
    return to_json(made_with) + "\n"
