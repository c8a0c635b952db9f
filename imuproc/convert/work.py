"""A whole session in another form: log after log, and a session file beside them."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, Final, cast

from imuproc.convert.form import Facts, Form, Target
from imuproc.core.errors import LogError, SessionError
from imuproc.files.toml_reading import load_toml
from imuproc.files.toml_writing import format_toml
from imuproc.files.whole import write_text
from imuproc.readers.logs.registry import stream_log
from imuproc.readers.logs.signals import BLOCK_ROW_COUNT
from imuproc.readers.session import Session

FORMS: Final[dict[str, str]] = {
    "bids-motion": "imuproc.convert.bids",
    "hdf5": "imuproc.convert.hdf5",
    "parquet": "imuproc.convert.parquet",
}
SESSION_FILE: Final = "session.toml"
MARK: Final = ".imuproc-convert.json"

_HEAD: Final = "# Written by imuproc convert.\n"


@dataclass(frozen=True)
class Failure:
    """A log that could not be converted, and why."""

    run: str
    site: str
    reason: str


@dataclass(frozen=True)
class CutShort:
    """A log that was converted as far as it goes, and what tells that it breaks off."""

    run: str
    site: str
    text: str


@dataclass(frozen=True)
class Converted:
    """What came of a conversion.

    Parameters
    ----------
    session : Path or None
        The new session file; None where no log could be read.
    logs : int
        How many were written.
    failures : tuple of Failure
        Left out of the new session file.
    cut_short : tuple of CutShort
        Written, but nothing in the new log tells that something is missing behind its end.
    """

    session: Path | None
    logs: int
    failures: tuple[Failure, ...]
    cut_short: tuple[CutShort, ...] = ()


def convert(
    session: Session,
    form: str,
    folder: Path,
    runs: Sequence[str] = (),
    report_progress: Callable[[int, int], None] = lambda _done, _of: None,
) -> Converted:
    """Write a session's logs in an open format, with a session file that reads them.

    Parameters
    ----------
    session : Session
    form : str
        A key of :data:`FORMS`.
    folder : Path
        New, empty, or written by an earlier conversion, whose files are then replaced.
    runs : sequence of str
        Ids of the runs to convert; all where empty.
    report_progress : callable
        Called with the number of logs that are done and of all.

    Returns
    -------
    Converted
        A log that cannot be read is named and left out; the others are written.

    Raises
    ------
    SessionError
        There is no such form or run, or the folder holds other files.
    OSError
        The folder cannot be written.

    See Also
    --------
    imuproc.readers.session.read_session : reads what was written.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     done = convert(session, "parquet", Path(folder, "copy"), runs=("R07-01",))
    ...     imuproc.read_session(Path(folder, "copy", "session.toml")).runs[0].id
    'R07-01'
    """
    if form not in FORMS:
        raise SessionError(f"--to: found {form!r}; allowed: {', '.join(map(repr, FORMS))}")
    writer = cast(Form, import_module(FORMS[form]))
    content = load_toml(session.path)
    for run in runs:
        session.athlete_of(run)  # refuses a run that is not there
    chosen = [run.id for run in session.runs if not runs or run.id in runs]
    targets = writer.list_targets(session, chosen)
    planned = [
        name for target in targets for name in (target.file, *writer.list_files_beside(target))
    ]
    earlier = _claim_folder(session, folder, planned)
    written, failures = _write_logs(session, writer, folder, targets, report_progress)
    files = [
        name for target, _ in written for name in (target.file, *writer.list_files_beside(target))
    ]
    if written:
        files += [*writer.finish_folder(folder, session, written), SESSION_FILE]
        write_text(folder / SESSION_FILE, _format_session(content, writer, written))
    _remove_stale_files(folder, set(earlier) - set(files))
    _write_mark(folder, files)
    cut_short = tuple(
        CutShort(target.run.id, target.site, facts.cut_short)
        for target, facts in written
        if facts.cut_short
    )
    new = folder / SESSION_FILE if written else None
    return Converted(new, len(written), tuple(failures), cut_short)


def _write_logs(
    session: Session,
    writer: Form,
    folder: Path,
    targets: list[Target],
    report_progress: Callable[[int, int], None],
) -> tuple[list[tuple[Target, Facts]], list[Failure]]:
    requests = {
        (run, request.site): request
        for run in session.plans
        for request in session.list_requests(run)
    }
    written, failures = [], []
    report_progress(0, len(targets))
    for done, target in enumerate(targets, 1):
        pieces = stream_log(requests[target.run.id, target.site], BLOCK_ROW_COUNT)
        try:
            written.append((target, writer.write_log(folder, target, pieces)))
        except LogError as error:
            failures.append(Failure(target.run.id, target.site, str(error)))
        report_progress(done, len(targets))
    return written, failures


def _format_session(
    content: dict[str, Any], writer: Form, written: list[tuple[Target, Facts]]
) -> str:
    """The session file as it was, but for layouts, logs, and runs without any."""
    layouts, names = writer.build_layouts(written)
    logs: dict[str, dict[str, Any]] = {}
    for (target, _), layout in zip(written, names, strict=True):
        log = {"file": target.file, "layout": layout}
        logs.setdefault(target.run.id, {})[target.site] = log
    runs = [
        {key: value for key, value in entry.items() if key not in ("layout", "logs")}
        | {"logs": logs[entry["id"]]}
        for entry in content["run"]
        if entry["id"] in logs
    ]
    return _HEAD + format_toml({**content, "layout": layouts, "run": runs})


def _claim_folder(session: Session, folder: Path, planned: list[str]) -> list[str]:
    """Make the folder ours, or refuse it; gives what an earlier conversion wrote there."""
    if folder.exists() and not folder.is_dir():
        raise SessionError(f"{folder}: found a file; allowed as output: a folder")
    if folder.resolve() == session.path.parent.resolve():
        raise SessionError(f"{folder}: is the folder of the session itself; allowed: another one")
    earlier = _read_mark(folder)
    if earlier is None and folder.is_dir() and any(folder.iterdir()):
        raise SessionError(
            f"{folder}: found files that imuproc convert did not write; allowed as output: a new "
            "or empty folder"
        )
    folder.mkdir(parents=True, exist_ok=True)
    _write_mark(folder, sorted({*(earlier or ()), *planned, SESSION_FILE}))
    # Cut short, an old session file would name logs of which some are new.
    (folder / SESSION_FILE).unlink(missing_ok=True)
    return earlier or []


def _read_mark(folder: Path) -> list[str] | None:
    try:
        files = json.loads((folder / MARK).read_bytes())["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return [name for name in files if isinstance(name, str)] if isinstance(files, list) else None


def _write_mark(folder: Path, files: list[str]) -> None:
    write_text(folder / MARK, json.dumps({"files": sorted(files)}, indent=1) + "\n")


def _remove_stale_files(folder: Path, names: set[str]) -> None:
    """Take away what an earlier conversion wrote and this one did not."""
    inside = folder.resolve()
    for name in sorted(names):
        path = folder / name
        if path.resolve().is_relative_to(inside):  # the mark is a file that people can change
            path.unlink(missing_ok=True)
