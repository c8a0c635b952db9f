"""Where a delimited log is wrong, for the error text: used only after reading has failed."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

from imuproc.core.errors import LogError
from imuproc.core.words import plural
from imuproc.files.wording import quote
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.text.cells import is_missing, is_number, split_line
from imuproc.readers.logs.text.dialect import TableShape
from imuproc.readers.logs.text.text_file import TextBlock

_BLOCK_LINE_COUNT: Final = 4096
"""Lines that are tried together; chosen: quick to pass over, few to look through one by one."""


@dataclass(frozen=True)
class _Fault:
    """The first line that is wrong, and what the error says after its number."""

    line: int
    text: str


def explain_fault(
    block: TextBlock,
    shape: TableShape,
    layout: Layout,
    decimals: Iterable[str],
    readable: Callable[[bytes, str], bool],
) -> LogError:
    """Error that names the first line that is not as it should be.

    Parameters
    ----------
    block : TextBlock
        Lines of samples; all before them could be read.
    shape : TableShape
    layout : Layout
    decimals : iterable of str
        Decimal marks with which all before could be read.
    readable : callable
        Whether some lines can be read with a decimal mark; blocks that can are passed over.
    """
    lines = block.body.split(b"\n")
    faults = []
    for decimal in decimals:
        for start in range(0, len(lines), _BLOCK_LINE_COUNT):
            some = lines[start : start + _BLOCK_LINE_COUNT]
            text = b"\n".join(some)
            if text.strip() and not readable(text, decimal):
                first = block.first_line + start
                faults.append(_find_first_fault(some, first, decimal, shape, layout))
                break
    known = [fault for fault in faults if fault is not None]
    if not known:
        return LogError(f"the text below line {block.first_line} cannot be read as numbers")
    # With the log's own decimal mark, reading comes furthest.
    fault = max(known, key=lambda fault: fault.line)
    hint = ""
    last_line = block.first_line + len(block.body.rstrip(b"\n ").split(b"\n")) - 1
    if block.is_last and fault.line == last_line:
        hint = "; it is the last line: if the recording was cut off in it, delete it"
    return LogError(f"line {fault.line}{fault.text}{hint}")


def _find_first_fault(
    lines: list[bytes], first: int, decimal: str, shape: TableShape, layout: Layout
) -> _Fault | None:
    for number, line in enumerate(lines, first):
        text = line.decode("utf-8", errors="replace")
        cells = split_line(text, shape.delimiter)
        if not text.strip(" "):
            continue
        if len(cells) != len(shape.columns):
            return _Fault(
                number, f": found {plural(len(cells), 'cell')}; allowed: {len(shape.columns)}"
            )
        for place in shape.positions:
            cell = cells[place]
            if not is_number(cell, decimal) and not is_missing(cell, layout.missing):
                where = f", column {quote(shape.columns[place])}"
                return _Fault(
                    number, f"{where}: found {quote(cell)}; allowed: {_describe_allowed(cell)}"
                )
    return None


def _describe_allowed(cell: str) -> str:
    if ":" in cell:
        return "a number (clock times are not read: time must count s, ms or us)"
    if "," in cell and "." in cell:
        return "a number (marks between thousands are not read)"
    if cell and not any(character.isdigit() for character in cell):
        return "a number (a word for missing values is stated by the layout's missing)"
    return "a number"
