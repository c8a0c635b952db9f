"""Every reader, and how a log finds its own.

A new format is one module with ``recognise``, ``read`` and ``stream`` (see
:class:`imuproc.readers.request.LogReader`) and one line in ``READERS``.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import Final, cast, get_args

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.readers.layout import Format
from imuproc.readers.request import LogReader, LogRequest
from imuproc.readers.wording import listed

# In the order in which they are asked: formats with a signature come before text.
READERS: Final[dict[Format, str]] = {"delimited": "imuproc.readers.delimited"}

# First bytes of formats that are planned, so that the error can name them.
_SIGNATURES: Final[dict[bytes, Format]] = {
    b"\x89HDF\r\n\x1a\n": "hdf5",
    b"PAR1": "parquet",
    b"XDF:": "xdf",
}


def load_reader(name: Format) -> LogReader:
    """Module that reads a format; its heavy libraries load now.

    Raises
    ------
    LogError
        This version has no reader for the format.
    """
    if name not in READERS:
        raise LogError(
            f"format {name!r}: this version reads only {listed(READERS)} "
            f"(planned: {listed(f for f in get_args(Format) if f not in READERS)})"
        )
    return cast(LogReader, import_module(READERS[name]))


def recognise(path: Path) -> Format:
    """Format of a file, from its content.

    Raises
    ------
    LogError
        No reader knows the file.
    """
    with path.open("rb") as file:
        start = file.read(16)
    for signature, planned in _SIGNATURES.items():
        if start.startswith(signature) and planned not in READERS:
            load_reader(planned)  # says that it cannot
    for name in READERS:
        if load_reader(name).recognise(path):
            return name
    raise LogError(
        f"the format was not recognised; this version reads only {listed(READERS)}: "
        "check the file, or state the layout's format"
    )


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
    with _named(request):
        return _reader_of(request).read(request)


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
        Each with its own stretch of the log's stamps.

    Raises
    ------
    ValueError
        ``rows`` is below 2.
    LogError
        As of :func:`read_log`; what is wrong further on comes after the pieces before it.
    """
    with _named(request):
        yield from _reader_of(request).stream(request, rows)


def _reader_of(request: LogRequest) -> LogReader:
    _check_file(request.path)
    return load_reader(request.layout.format or recognise(request.path))


@contextmanager
def _named(request: LogRequest) -> Iterator[None]:
    """Errors begin with the file and the site."""
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
