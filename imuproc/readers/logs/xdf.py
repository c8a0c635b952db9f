"""Logs as XDF (Extensible Data Format 1.0): a stream for each sensor, with stamps of its own.

Needs the extra ``xdf``. Stamps are put on the recording computer's clock by the offsets that the
file holds; they are not smoothed. The format puts chunks of all streams in turn and has no index,
so a stream is read as a whole: memory grows with the length of the log.
"""

import io
import logging
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO, Final
from xml.etree.ElementTree import ParseError

import numpy as np

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.files.wording import quote, quote_all
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.logs.signals import (
    Samples,
    read_stated_meaning,
    replace_missing,
    to_sensor_logs,
)
from imuproc.readers.logs.units_stated import check_stated_unit
from imuproc.readers.logs.wanted import (
    clean_name,
    describe_missing,
    find_positions,
    list_wanted_columns,
)

_SIGNATURE: Final = b"XDF:"
_NO_FOOTER: Final = "the stream has no footer, which is written when a recording ends"
# What pyxdf lets through where a file is damaged: it checks little.
_DAMAGE: Final = (
    *(OSError, ValueError, KeyError, IndexError, TypeError, AttributeError, EOFError),
    *(OverflowError, ZeroDivisionError, MemoryError, RuntimeError, AssertionError),
    *(struct.error, ParseError, np.linalg.LinAlgError),
)


def can_read(path: Path) -> bool:
    """Whether a file begins like XDF.

    Parameters
    ----------
    path : Path
    """
    with path.open("rb") as file:
        return file.read(len(_SIGNATURE)) == _SIGNATURE


def stream(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log from XDF; the whole stream is in memory, whatever ``rows`` is.

    Parameters
    ----------
    request : LogRequest
        ``select`` is the stream's name; may be left out where one stream only has the channels.
        Columns of the layout are labels of channels, or numbers where they have none.
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog
        Stamps in s on the clock of the recording computer. Of a file cut short, what is whole:
        a stream without the footer that ends every recording was cut short.

    Raises
    ------
    LogError
        pyxdf is not installed, the file is damaged, or it does not hold what is asked for.
    OSError
        The file cannot be read.
    """
    layout = request.layout
    if layout.format is None:  # such a layout has a time column or a rate, which count for nothing
        raise LogError(
            "the file is XDF, whose streams carry stamps; allowed: a layout that states "
            'format = "xdf", accel and gyro, and neither time nor rate_hz'
        )
    meaning = read_stated_meaning(layout)
    chosen = _select_stream(_load_streams(request.path), request.select)
    values = _select_channels(chosen, layout)
    stamps = np.asarray(chosen["time_stamps"], dtype=np.float64)
    if len(stamps) != len(values):
        raise LogError(f"found {len(stamps)} stamps and {len(values)} samples; allowed: as many")
    values = replace_missing(values, layout.missing)
    cut_short = "" if "footer" in chosen else _NO_FOOTER
    samples = Samples(stamps, values[:, :3], values[:, 3:], cut_short)
    meaning = replace(meaning, time_unit="s", time_name="stamps of the stream")
    yield from to_sensor_logs(request, meaning, [samples], rows)


def _load_streams(path: Path) -> list[dict[str, Any]]:
    try:
        import pyxdf
    except ModuleNotFoundError:
        raise LogError("reading XDF needs pyxdf: pip install 'imuproc[xdf]'") from None
    with path.open("rb") as file, _silence_pyxdf():
        if file.read(len(_SIGNATURE)) != _SIGNATURE:
            raise LogError("the file does not begin like XDF")
        try:
            streams, _ = pyxdf.load_xdf(
                _cut_to_whole_chunks(file),
                synchronize_clocks=True,
                dejitter_timestamps=False,
                verbose=False,
            )
        except _DAMAGE as error:
            raise LogError(f"the file is damaged: {type(error).__name__}: {error}") from error
    return list(streams)


def _cut_to_whole_chunks(file: BinaryIO) -> BinaryIO:
    """The file, or what is whole of one that ends within a chunk.

    pyxdf would take what is left of a cut chunk: a last sample mixed with the one before it.
    """
    size = file.seek(0, io.SEEK_END)
    end = len(_SIGNATURE)
    while end < size:
        file.seek(end)
        head = file.read(9)
        width = head[0]  # bytes of the length that follows
        if width not in (1, 4, 8):  # no cut but damage: pyxdf looks for where it goes on
            break
        after = end + 1 + width + int.from_bytes(head[1 : 1 + width], "little")
        if len(head) <= width or after > size:
            file.seek(0)
            return io.BytesIO(file.read(end))
        end = after
    file.seek(0)
    return file


@contextmanager
def _silence_pyxdf() -> Iterator[None]:
    """Keep pyxdf from logging that a file is cut short: what is whole of it is read."""
    logger = logging.getLogger("pyxdf.pyxdf")
    before, logger.disabled = logger.disabled, True
    try:
        yield
    finally:
        logger.disabled = before


def _read_text(info: Any, *keys: str) -> str:
    """A text of a stream's header; empty where it is not there."""
    for key in keys:
        inner = info.get(key) if isinstance(info, dict) else None
        info = inner[0] if isinstance(inner, list) and inner else inner
    return info if isinstance(info, str) else ""


def _select_stream(streams: list[dict[str, Any]], select: str | None) -> dict[str, Any]:
    names = [_read_text(stream["info"], "name") for stream in streams]
    fitting = [
        stream
        for stream, name in zip(streams, names, strict=True)
        if select in (None, name) and isinstance(stream["time_series"], np.ndarray)
    ]
    if len(fitting) != 1:
        wanted = f"no stream {quote(select)}" if select else "no stream of numbers"
        if fitting:
            wanted = f"{len(fitting)} streams" + (f" named {quote(select)}" if select else "")
        raise LogError(f"found {wanted}; allowed: a select that names one of {quote_all(names)}")
    return fitting[0]


def _select_channels(
    stream: dict[str, Any], layout: Layout
) -> np.ndarray[Any, np.dtype[np.float64]]:
    values = np.asarray(stream["time_series"], dtype=np.float64)
    if values.ndim != 2:
        raise LogError(f"found values of shape {values.shape}; allowed: (samples, channels)")
    described = _list_channel_descriptions(stream["info"])
    wanted = list_wanted_columns(layout, None)
    if layout.has_numbered_columns:
        places = tuple(int(column.names[0]) - 1 for column in wanted)
        if max(places) >= values.shape[1]:
            raise LogError(
                f"found {values.shape[1]} channels; allowed: at least {max(places) + 1}, which the "
                "layout's column numbers need"
            )
    else:
        labels = [clean_name(_read_text(channel, "label")) for channel in described]
        if len(labels) != values.shape[1]:
            raise LogError(
                f"found {len(labels)} labels for {values.shape[1]} channels; allowed: a layout "
                "that numbers channels from 1"
            )
        found = find_positions(wanted, labels)
        if found is None:
            raise LogError(describe_missing(wanted, labels))
        places = found
    for place, column in zip(places, wanted, strict=True):
        stated = _read_text(described[place], "unit") if place < len(described) else None
        check_stated_unit(stated, column.unit, f"channel {quote(column.names[0])}")
    return values[:, places]


def _list_channel_descriptions(info: Any) -> list[Any]:
    """Entries of ``desc/channels/channel``; none where the stream has no description."""
    for key in ("desc", "channels"):
        inner = info.get(key) if isinstance(info, dict) else None
        info = inner[0] if isinstance(inner, list) and inner else None
    found = info.get("channel") if isinstance(info, dict) else None
    return found if isinstance(found, list) else []
