"""Numbers out of lines of text, block after block: shared by the formats that are text."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import csv

from imuproc.core.errors import LogError
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.signals import replace_missing
from imuproc.readers.logs.text.cells import MISSING_WORDS
from imuproc.readers.logs.text.dialect import TableShape
from imuproc.readers.logs.text.last_line import drop_cut_line
from imuproc.readers.logs.text.line_errors import explain_fault
from imuproc.readers.logs.text.text_file import TextBlock

Columns = list[NDArray[Any]]

_BLOCK_BYTES = 1 << 24
"""More than a line: pyarrow takes no line that is longer than its block."""
_FIRST_LINE_COUNT = 100
"""Lines on which a decimal mark is tried first; chosen: where it does not fit they tell."""


@dataclass(frozen=True, eq=False)
class TableBlock:
    """Wanted columns of some lines.

    Parameters
    ----------
    columns : list of ndarray, shape (n,)
        In the order of ``TableShape.positions``; float64, missing values NaN. Stamps in ns that
        are all whole numbers stay int64.
    cut_short : str
        Where the file's last line is cut off; empty where nothing tells that it is.
    """

    columns: Columns
    cut_short: str = ""


def parse_table(
    blocks: Iterable[TextBlock], shape: TableShape, layout: Layout
) -> Iterator[TableBlock]:
    """Wanted columns of a table, block after block; a last line that is cut off is left out.

    Parameters
    ----------
    blocks : iterable of TextBlock
        From the first sample on.
    shape : TableShape
    layout : Layout
        For decimal mark, comments and the code for missing values.

    Yields
    ------
    TableBlock

    Raises
    ------
    LogError
        The text names line and column, what was found and what is allowed.
    """
    decimals: list[str] = [layout.decimal] if layout.decimal else [".", ","]
    for some in blocks:
        block, cut_short = drop_cut_line(some, shape, layout)
        plain = replace(block, body=_clean_lines(block, shape, layout))
        if plain.body.strip():
            values, decimals = _parse_columns(plain, shape, layout, decimals)
            columns = [
                column if column.dtype.kind == "i" else replace_missing(column, layout.missing)
                for column in values
            ]
            yield TableBlock(columns, cut_short)
        elif cut_short:
            yield TableBlock([np.empty(0) for _ in shape.positions], cut_short)


def _clean_lines(block: TextBlock, shape: TableShape, layout: Layout) -> bytes:
    """Lines of samples, comments blanked out; lines stay lines for error texts."""
    body = block.body
    mark = layout.comment.encode()
    if mark in body:
        body = re.sub(rb"(?m)^[ \t]*" + re.escape(mark) + rb".*$", b"", body)
    if shape.delimiter == " ":
        body = _collapse_blanks(body)
    elif b"\n " in body:
        body = re.sub(rb"(?m)^ +$", b"", body)
    if b'"' in body:
        _check_quotes(body, block.first_line)
    return body


def _collapse_blanks(body: bytes) -> bytes:
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


def _parse_columns(
    block: TextBlock, shape: TableShape, layout: Layout, decimals: list[str]
) -> tuple[Columns, list[str]]:
    """Wanted columns as numbers, and the decimal marks that fit, the one used first.

    A text that is a number with one decimal mark is none with the other (whole numbers are the
    same with both), so trying both cannot mislead.
    """

    def try_numbers(text: bytes, decimal: str) -> Columns | None:
        try:
            return _parse_numbers(text, decimal, shape, layout)
        except pa.ArrowException:
            return None

    for text in _try_without_blanks(block.body, shape.delimiter):
        for decimal in decimals:
            values = try_numbers(text, decimal)
            if values is not None:
                others = [other for other in decimals if other != decimal]
                if decimal.encode() in text:
                    others = [
                        other
                        for other in others
                        if try_numbers(_take_first_lines(text), other)
                        is not None  # mostly settles it
                        and try_numbers(text, other) is not None
                    ]
                return values, [decimal, *others]
    raise explain_fault(
        block, shape, layout, decimals, lambda text, decimal: try_numbers(text, decimal) is not None
    )


def _take_first_lines(text: bytes) -> bytes:
    """The first lines: where they are no numbers, neither is the whole."""
    lines = text.split(b"\n", _FIRST_LINE_COUNT)
    first = b"\n".join(lines[:_FIRST_LINE_COUNT])
    return first if first.strip() else text


def _try_without_blanks(body: bytes, delimiter: str) -> Iterator[bytes]:
    yield body
    if b" " in body and delimiter != " ":
        # Missing-value words are known only without blanks around them.
        gap = re.escape(delimiter.encode())
        stripped = re.sub(rb" *" + gap + rb" *", delimiter.encode(), body)
        stripped = re.sub(rb"(?m)^ +| +$", b"", stripped)
        if stripped != body:
            yield stripped


def _parse_numbers(body: bytes, decimal: str, shape: TableShape, layout: Layout) -> Columns:
    chosen = [str(place) for place in shape.positions]
    types = dict.fromkeys(chosen, pa.float64())
    if layout.time is not None and layout.time.unit == "ns":
        # Since 1970 they are beyond what float64 holds exactly.
        try:
            whole = _parse_csv(body, decimal, types | {chosen[0]: pa.int64()}, shape, layout)
        except pa.ArrowException:
            whole = None
        if whole is not None and whole.column(chosen[0]).null_count == 0:
            return [whole.column(name).to_numpy() for name in chosen]
    table = _parse_csv(body, decimal, types, shape, layout)
    return [table.column(name).to_numpy() for name in chosen]


def _parse_csv(
    body: bytes, decimal: str, types: dict[str, pa.DataType], shape: TableShape, layout: Layout
) -> pa.Table:
    names = [str(place) for place in range(len(shape.columns))]
    code = [layout.missing.strip()] if isinstance(layout.missing, str) else []
    return csv.read_csv(
        pa.BufferReader(body),
        read_options=csv.ReadOptions(
            column_names=names, block_size=_BLOCK_BYTES, use_threads=False
        ),
        parse_options=csv.ParseOptions(
            delimiter=shape.delimiter, quote_char='"' if b'"' in body else False
        ),
        convert_options=csv.ConvertOptions(
            include_columns=list(types),
            column_types=types,
            null_values=[*MISSING_WORDS, *code],
            decimal_point=decimal,
        ),
    )
