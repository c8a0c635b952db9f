"""The folder that results go into: one process at a time, nothing half-written left in it."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout

from imuproc.batch.log import PROCESS_LOG
from imuproc.batch.plan import Task
from imuproc.core.errors import SessionError
from imuproc.files.disk_errors import describe_write_error
from imuproc.results.folder import RUNS_FOLDER, SESSION_ARCHIVE, archive_path
from imuproc.results.tables import (
    PHASES_CSV,
    PHASES_PARQUET,
    REPORT_FOLDER,
    RUNS_CSV,
    STEPS_CSV,
    STEPS_PARQUET,
    STEPS_XLSX,
)

LOCK: Final = ".imuproc.lock"
RESULTS: Final = (
    *(STEPS_CSV, STEPS_PARQUET, RUNS_CSV, PHASES_CSV, PHASES_PARQUET),
    SESSION_ARCHIVE,
)
"""In the order in which they are written."""

# The temporary names of files/whole.py.
_TEMPORARY: Final = re.compile(r"\..+\.[0-9a-f]{8}\.part")


@contextmanager
def output_folder(folder: Path, tasks: Sequence[Task]) -> Iterator[Path]:
    """Make the folder and hold it for this process alone, before any work is done.

    The operating system lets go of it when the process ends, however it ends.

    Parameters
    ----------
    folder : Path
    tasks : sequence of Task
        Their logs must not be overwritten.

    Yields
    ------
    Path
        The folder, absolute: workers may run elsewhere. What an earlier process left half-written
        is gone.

    Raises
    ------
    SessionError
        It is a file, it cannot be written, another process is using it, or a result would replace
        a log or the session file.
    """
    require_no_file(folder)
    _require_no_inputs(folder, tasks)
    with held(folder, folder / RUNS_FOLDER):
        _clean_folder(folder)
        yield folder.resolve()


def require_no_file(folder: Path) -> None:
    """Refuse a file where a folder is wanted.

    Raises
    ------
    SessionError
    """
    if folder.exists() and not folder.is_dir():
        raise SessionError(f"{folder}: found a file; allowed as output: a folder")


@contextmanager
def held(folder: Path, made: Path) -> Iterator[None]:
    """Make a folder and hold it for this process alone.

    Parameters
    ----------
    folder : Path
    made : Path
        The folder itself or one in it, made with all above it.

    Raises
    ------
    SessionError
        It cannot be written, or another process is using it.
    """
    lock = FileLock(folder / LOCK, timeout=0)
    try:
        made.mkdir(parents=True, exist_ok=True)
        lock.acquire()
    except Timeout:
        raise SessionError(
            f"{folder}: another imuproc process is writing there; wait until it is done, or name "
            "another folder with --out"
        ) from None
    except OSError as error:
        raise SessionError(describe_write_error(folder, error)) from error
    try:
        yield
    finally:
        lock.release()


def _clean_folder(folder: Path) -> None:
    try:
        remove_leftovers(folder)
        with (folder / PROCESS_LOG).open("a", encoding="utf-8"):
            pass
    except OSError as error:
        raise SessionError(describe_write_error(error.filename or folder, error)) from error


def _require_no_inputs(folder: Path, tasks: Sequence[Task]) -> None:
    inputs = {path.resolve() for task in tasks for path in _list_inputs(task)}
    results = [folder / name for name in (*RESULTS, STEPS_XLSX, PROCESS_LOG, LOCK)]
    for path in (*results, *(archive_path(folder, task.run.id) for task in tasks)):
        if path.resolve() in inputs:
            raise SessionError(
                f"{path}: is an input of this session and would be overwritten; "
                "allowed as output: another folder"
            )


def _list_inputs(task: Task) -> list[Path]:
    return [task.session.path, *task.session.log_paths(task.run.id).values()]


def remove_leftovers(folder: Path) -> None:
    """Remove what killed processes left half-written; only while the folder is held.

    Raises
    ------
    OSError
        A file cannot be removed.
    """
    for place in (folder, folder / RUNS_FOLDER, folder / REPORT_FOLDER):
        for path in place.iterdir() if place.is_dir() else ():
            if _TEMPORARY.fullmatch(path.name):
                path.unlink(missing_ok=True)
