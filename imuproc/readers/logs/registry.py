"""Every reader, and how a log finds its own.

A new format is one module with ``can_read`` and ``stream`` (see
:class:`imuproc.readers.logs.request.LogReader`) and one line in ``READERS``.
"""

import os
import posixpath
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path, PurePosixPath
from typing import Final, cast

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog, join_logs
from imuproc.files.wording import quote, quote_all
from imuproc.readers.logs.bids_files import is_motion_file, list_files_beside
from imuproc.readers.logs.layout import Format
from imuproc.readers.logs.request import LogReader, LogRequest
from imuproc.readers.logs.signals import BLOCK_ROW_COUNT, MIN_SAMPLE_COUNT

# In the order in which they are asked: formats with a signature come before text.
READERS: Final[dict[Format, str]] = {
    "hdf5": "imuproc.readers.logs.hdf5.logs",
    "parquet": "imuproc.readers.logs.parquet",
    "xdf": "imuproc.readers.logs.xdf",
    "bids-motion": "imuproc.readers.logs.bids_motion",
    "delimited": "imuproc.readers.logs.text.delimited",
}
_TEXT: Final[set[Format]] = {"bids-motion", "delimited"}
"""Formats without a signature: their files may be read as each other."""


def load_reader(name: Format) -> LogReader:
    """Module that reads a format; its heavy libraries load now."""
    return cast(LogReader, import_module(READERS[name]))


def recognise_format(path: Path) -> Format:
    """Format of a file, from its content; BIDS recordings also by their name.

    Raises
    ------
    LogError
        No reader knows the file.
    """
    shown = _find_format(path)
    if shown is None:
        raise LogError(
            f"the format was not recognised; this version reads {quote_all(READERS)}: check the "
            "file, or state the layout's format"
        )
    return shown


def _find_format(path: Path) -> Format | None:
    return next((name for name in READERS if load_reader(name).can_read(path)), None)


def read_log(request: LogRequest) -> SensorLog:
    """Read one sensor's log with the reader that its layout states or its content shows.

    Parameters
    ----------
    request : LogRequest

    Returns
    -------
    SensorLog
        SI units, sensor axes, the log's own stamps in s; NaN where a value is missing.

    Raises
    ------
    LogError
        The log cannot be read; the text begins with the file and the site.
    """
    return join_logs(stream_log(request, BLOCK_ROW_COUNT))


def stream_log(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log piece after piece, in the order of the file.

    Memory holds one piece and a block of the file, however long the log is. Joined, the pieces
    are bit by bit what :func:`read_log` gives.

    Parameters
    ----------
    request : LogRequest
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog
        Each with its own part of the log's stamps.

    Raises
    ------
    ValueError
        ``rows`` is below 2.
    LogError
        As of :func:`read_log`; what is wrong further on comes after the pieces before it.
    """
    if rows < MIN_SAMPLE_COUNT:
        raise ValueError(f"rows must be {MIN_SAMPLE_COUNT} or more, not {rows}")
    with _name_log_in_errors(request):
        yield from _select_reader(request).stream(request, rows)


def list_input_files(request: LogRequest) -> dict[str, Path]:
    """Files that a log is read from: itself, and those beside it that say what it holds.

    Parameters
    ----------
    request : LogRequest

    Returns
    -------
    dict from str to Path
        By path as the session file names it, or would.
    """
    files = {request.source: request.path}
    if request.layout.format in (None, "bids-motion") and is_motion_file(request.path):
        source = PurePosixPath(request.source).parent
        for path in list_files_beside(request.path):
            way = os.path.relpath(path, request.path.parent).replace(os.sep, "/")
            files[posixpath.normpath(f"{source}/{way}")] = path
    return files


def _select_reader(request: LogRequest) -> LogReader:
    _check_file(request.path)
    stated = request.layout.format
    if stated is None:
        return load_reader(recognise_format(request.path))
    reader = load_reader(stated)
    if not reader.can_read(request.path):
        _check_stated_format(request.path, stated)
    return reader


def _check_stated_format(path: Path, stated: Format) -> None:
    """Refuse a stated format where the file surely has another; else its reader says what is wrong.

    Raises
    ------
    LogError
        The layout and the file contradict each other.
    """
    shown = _find_format(path)
    if shown is not None and not {stated, shown} <= _TEXT:
        raise LogError(
            f"the layout states the format {quote(stated)}, but the file looks like "
            f"{quote(shown)}; allowed: the format that the log has, or none to have it recognised"
        )


@contextmanager
def _name_log_in_errors(request: LogRequest) -> Iterator[None]:
    """Let errors begin with the file and the site."""
    try:
        yield
    except LogError as error:
        raise LogError(f"{request.source} ({request.site}): {error}") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise LogError(f"{request.source} ({request.site}): cannot be read: {reason}") from error


def _check_file(path: Path) -> None:
    if path.is_dir():
        raise LogError("found a folder; allowed: a log file")
    if not path.exists():
        raise LogError("there is no such file")
    if not path.is_file():  # a pipe or a device would be waited for without end
        raise LogError("found something that is not a regular file")
    if path.stat().st_size == 0:
        raise LogError("the file is empty")
