"""Logs as delimited text: separators, decimal marks, missing values; compressed or not."""

from collections.abc import Iterator
from itertools import chain
from pathlib import Path

import numpy as np

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.readers.logs.bids_files import is_motion_file
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.logs.signals import Samples, read_stated_meaning, to_sensor_logs
from imuproc.readers.logs.text.dialect import HEAD_LINE_COUNT, find_table
from imuproc.readers.logs.text.numbers import parse_table
from imuproc.readers.logs.text.text_file import TextBlock, looks_like_text, read_text_blocks


def can_read(path: Path) -> bool:
    """Whether a file begins like lines of text, compressed or not, and is no BIDS recording.

    Parameters
    ----------
    path : Path
    """
    return looks_like_text(path) and not is_motion_file(path)


def stream(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log from delimited text, piece after piece.

    Parameters
    ----------
    request : LogRequest
        ``select`` is a prefix of the sensor's column names.
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog
        SI units, sensor axes, the log's own stamps in s; NaN where a value is missing or infinite.
        A last line that is cut off is left out.

    Raises
    ------
    LogError
        The text names line and column, what was found and what is allowed.
    OSError
        The file cannot be read.
    """
    return to_sensor_logs(
        request, read_stated_meaning(request.layout), _read_samples(request), rows
    )


def _read_samples(request: LogRequest) -> Iterator[Samples]:
    layout = request.layout
    blocks = read_text_blocks(request.path, layout.encoding)
    head = _join_first_blocks(blocks, layout)
    if not head.body.strip() and not any(block.body.strip() for block in blocks):
        raise LogError("the file is empty")
    shape = find_table(head.body, layout, request.select)
    above = shape.first_line - 1
    body = head.body.split(b"\n", above)[above]
    first = TextBlock(body, shape.first_line, head.is_last)
    for block in parse_table(chain([first], blocks), shape, layout):
        values = block.columns
        stamps = None if layout.time is None else values[0]
        accel, gyro = np.column_stack(values[-6:-3]), np.column_stack(values[-3:])
        yield Samples(stamps, accel, gyro, block.cut_short)


def _join_first_blocks(blocks: Iterator[TextBlock], layout: Layout) -> TextBlock:
    """The file's first blocks in one, long enough to find the table in."""
    parts, lines, is_last = [], 0, False
    while lines < layout.skip_rows + HEAD_LINE_COUNT and not is_last:
        block = next(blocks)
        parts.append(block.body)
        lines += block.body.count(b"\n")
        is_last = block.is_last
    return TextBlock(b"".join(parts), 1, is_last)
