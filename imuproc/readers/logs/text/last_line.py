"""The last line of a text log where no line end follows it: is it whole?

A recording that lost its power ends anywhere in a line. Too few cells tell, and so does a last
number with fewer decimals than loggers write. But some programs write no line end behind a last
line that is whole: it is used where it is surely so. Where nothing tells whether "12" is left of
"12.34" the line is left out without a word: one sample less at the end of a log changes no figure,
and a row that may be wrong is never given.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.text.cells import MISSING_WORDS, is_missing, is_number, split_line
from imuproc.readers.logs.text.dialect import TableShape
from imuproc.readers.logs.text.text_file import TextBlock

_LINE_COUNT: Final = 1000
"""Lines above the last one that it is compared with; chosen: enough for a share of 1 in 100."""
_MIN_LINE_COUNT: Final = 100
"""With fewer lines above nothing is concluded; chosen: a share of 0.05 is then five lines."""
_RARE_SHARE: Final = 0.05
"""Loggers that leave out noughts at the end of a number write one number in ten with one decimal
less than usual, and one in a hundred with two less."""


def drop_cut_line(block: TextBlock, shape: TableShape, layout: Layout) -> tuple[TextBlock, str]:
    """Leave out a last line that is cut off, or may be.

    Parameters
    ----------
    block : TextBlock
        Lines of samples; only the file's last block can end with a cut line.
    shape : TableShape
    layout : Layout

    Returns
    -------
    block : TextBlock
    cut_short : str
        Where the line is cut off; empty where nothing tells that it is.
    """
    above, end, last = block.body.rpartition(b"\n")
    line = _decode_line(last)
    if not (block.is_last and line.strip()) or line.lstrip().startswith(layout.comment):
        return block, ""
    cells = split_line(line, shape.delimiter)
    count = len(shape.columns)
    if len(cells) > count:  # no cut: the reader refuses it
        return block, ""
    whole: bool | None = False
    if len(cells) == count and line.count('"') % 2 == 0:
        is_wanted = count - 1 in shape.positions
        whole = _is_last_cell_whole(line, above, shape, layout) if is_wanted else True
    if whole:
        return block, ""
    number = block.first_line + block.body.count(b"\n")
    cut_short = f"line {number} breaks off in cell {len(cells)} of {count} and was left out"
    return replace(block, body=above + end), "" if whole is None else cut_short


def _is_last_cell_whole(line: str, above: bytes, shape: TableShape, layout: Layout) -> bool | None:
    """Whether the last of all cells is whole; None where nothing tells."""
    cell = split_line(line, shape.delimiter)[-1]
    if not (is_number(cell, layout.decimal) or is_missing(cell, layout.missing)):
        return False
    if cell and (line[-1].isspace() or line[-1] == '"' or cell in MISSING_WORDS):
        return True
    before = list(_collect_last_cells(above, shape, layout))
    if len(before) < _MIN_LINE_COUNT:
        return None
    own, counts = _count_decimals(cell), np.array([_count_decimals(other) for other in before])
    usual = int(counts.max())
    if usual > 0 and own == usual and np.mean(counts == usual) >= 0.5:
        return True
    return False if np.mean(counts <= own) < _RARE_SHARE else None


def _collect_last_cells(above: bytes, shape: TableShape, layout: Layout) -> Iterator[str]:
    """Last cells of the lines above, but for words for missing values."""
    for raw in above.rsplit(b"\n", _LINE_COUNT)[-_LINE_COUNT:]:
        line = _decode_line(raw)
        if line.strip() and not line.lstrip().startswith(layout.comment):
            cell = split_line(line, shape.delimiter)[-1]
            if not cell or cell not in MISSING_WORDS:
                yield cell


def _count_decimals(cell: str) -> int:
    """How much stands behind the decimal mark; -1 without a mark, -2 without a number."""
    _, mark, behind = cell.replace(",", ".").rpartition(".")
    return len(behind) if mark else -1 - (not cell)


def _decode_line(line: bytes) -> str:
    return line.decode("utf-8", errors="replace")
