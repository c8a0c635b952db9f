"""Logs as delimited text: separators, decimal marks, missing values; compressed or not."""

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import csv

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.readers.cells import MISSING_WORDS
from imuproc.readers.dialect import HEAD_LINES, TableShape, find_table
from imuproc.readers.faults import explain
from imuproc.readers.layout import Layout
from imuproc.readers.request import LogRequest
from imuproc.readers.signals import Samples, sensor_logs, stated_meaning, whole_log
from imuproc.readers.text_file import TextBlock, looks_like_text, text_blocks

FloatArray = NDArray[np.float64]

_BLOCK_BYTES = 1 << 24


def recognise(path: Path) -> bool:
    """Whether a file begins like lines of text, compressed or not.

    Parameters
    ----------
    path : Path
    """
    return looks_like_text(path)


def read(request: LogRequest) -> SensorLog:
    """Read one sensor's log from delimited text.

    Parameters
    ----------
    request : LogRequest
        ``select`` is a prefix of the sensor's column names.

    Returns
    -------
    SensorLog
        SI units, sensor axes, the log's own stamps in s; NaN where a value is missing or infinite.

    Raises
    ------
    LogError
        The text names line and column, what was found and what is allowed.
    OSError
        The file cannot be read.
    """
    return whole_log(request, stated_meaning(request.layout), _samples(request))


def stream(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log piece after piece; as :func:`read`, with ``rows`` samples in each.

    Parameters
    ----------
    request : LogRequest
    rows : int

    Yields
    ------
    SensorLog

    Raises
    ------
    LogError, OSError
        As :func:`read`.
    """
    return sensor_logs(request, stated_meaning(request.layout), _samples(request), rows)


def _samples(request: LogRequest) -> Iterator[Samples]:
    layout = request.layout
    blocks = text_blocks(request.path, layout.encoding)
    head = _head(blocks, layout)
    if not head.body.strip() and not any(block.body.strip() for block in blocks):
        raise LogError("the file is empty")
    shape = find_table(head.body, layout, request.select)
    above = shape.first_line - 1
    body = head.body.split(b"\n", above)[above]
    first = TextBlock(body, shape.first_line, head.is_last)
    decimals: list[str] = [layout.decimal] if layout.decimal else [".", ","]
    for block in chain([first], blocks):
        plain = replace(block, body=_plain(block, shape, layout))
        if not plain.body.strip():
            continue
        values, decimals = _parsed(plain, shape, layout, decimals)
        values = _missing_as_nan(values, layout.missing)
        stamps = None if layout.time is None else values[:, 0]
        yield Samples(stamps, values[:, -6:-3], values[:, -3:])


def _head(blocks: Iterator[TextBlock], layout: Layout) -> TextBlock:
    """The file's first blocks in one, long enough to find the table in."""
    parts, lines, is_last = [], 0, False
    while lines < layout.skip_rows + HEAD_LINES and not is_last:
        block = next(blocks)
        parts.append(block.body)
        lines += block.body.count(b"\n")
        is_last = block.is_last
    return TextBlock(b"".join(parts), 1, is_last)


def _plain(block: TextBlock, shape: TableShape, layout: Layout) -> bytes:
    """Lines of samples, comments blanked out; lines stay lines for error texts."""
    body = block.body
    mark = layout.comment.encode()
    if mark in body:
        body = re.sub(rb"(?m)^[ \t]*" + re.escape(mark) + rb".*$", b"", body)
    if shape.delimiter == " ":
        body = _single_blanks(body)
    elif b"\n " in body:
        body = re.sub(rb"(?m)^ +$", b"", body)
    if b'"' in body:
        _check_quotes(body, block.first_line)
    return body


def _single_blanks(body: bytes) -> bytes:
    # Plain replacements take a tenth of the time of a pattern.
    body = body.replace(b"\t", b" ")
    while b"  " in body:
        body = body.replace(b"  ", b" ")
    return body.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def _check_quotes(body: bytes, first_line: int) -> None:
    # A quote left open would swallow the lines below it.
    characters = np.frombuffer(body, dtype=np.uint8)
    ends = np.flatnonzero(characters == ord("\n"))
    line_of_quote = np.searchsorted(ends, np.flatnonzero(characters == ord('"')))
    odd = np.flatnonzero(np.bincount(line_of_quote) % 2)
    if odd.size:
        raise LogError(
            f"line {first_line + int(odd[0])}: found a quote that is not closed; "
            "allowed: quotes in pairs within a line"
        )


def _parsed(
    block: TextBlock, shape: TableShape, layout: Layout, decimals: list[str]
) -> tuple[FloatArray, list[str]]:
    """Wanted columns as numbers, shape (n, number of wanted columns); decimal marks that fit.

    A text that is a number with one decimal mark is none with the other (whole numbers are the
    same with both), so trying both cannot mislead.
    """

    def numbers(text: bytes, decimal: str) -> FloatArray | None:
        try:
            return _numbers(text, decimal, shape, layout)
        except pa.ArrowException:
            return None

    for text in _with_and_without_blanks(block.body, shape.delimiter):
        for decimal in decimals:
            values = numbers(text, decimal)
            if values is not None:
                others = [other for other in decimals if other != decimal]
                if decimal.encode() in text:
                    others = [other for other in others if numbers(text, other) is not None]
                return values, [decimal, *others]
    raise explain(
        block, shape, layout, decimals, lambda text, decimal: numbers(text, decimal) is not None
    )


def _with_and_without_blanks(body: bytes, delimiter: str) -> Iterator[bytes]:
    yield body
    if b" " in body and delimiter != " ":
        # Missing-value words are known only without blanks around them.
        gap = re.escape(delimiter.encode())
        stripped = re.sub(rb" *" + gap + rb" *", delimiter.encode(), body)
        stripped = re.sub(rb"(?m)^ +| +$", b"", stripped)
        if stripped != body:
            yield stripped


def _numbers(body: bytes, decimal: str, shape: TableShape, layout: Layout) -> FloatArray:
    names = [str(place) for place in range(len(shape.columns))]
    chosen = [names[place] for place in shape.positions]
    code = [layout.missing.strip()] if isinstance(layout.missing, str) else []
    table = csv.read_csv(
        pa.BufferReader(body),
        read_options=csv.ReadOptions(column_names=names, block_size=_BLOCK_BYTES),
        parse_options=csv.ParseOptions(
            delimiter=shape.delimiter, quote_char='"' if b'"' in body else False
        ),
        convert_options=csv.ConvertOptions(
            include_columns=chosen,
            column_types=dict.fromkeys(chosen, pa.float64()),
            null_values=[*MISSING_WORDS, *code],
            decimal_point=decimal,
        ),
    )
    return np.column_stack([table.column(name).to_numpy() for name in chosen])


def _missing_as_nan(values: FloatArray, code: str | float | None) -> FloatArray:
    """Values equal to the layout's missing code become NaN; exact, as the code is a mark."""
    try:
        number = float("nan" if code is None else code)
    except ValueError:  # a word: it was taken for missing while reading
        return values
    return np.where(values == number, np.nan, values)
