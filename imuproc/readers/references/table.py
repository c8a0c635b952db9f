"""A small delimited table with a header, as people write references down."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.logs.text.cells import is_missing, is_number, split_line
from imuproc.readers.logs.text.dialect import DELIMITERS
from imuproc.readers.logs.text.text_file import looks_like_text, read_text_blocks
from imuproc.readers.logs.wanted import clean_name
from imuproc.readers.references.layout import SIDE_WORDS, SidedLayout

FloatArray = NDArray[np.float64]

_COMMENT: Final = "#"


@dataclass(frozen=True, eq=False)
class TextTable:
    """Cells of a table as texts.

    Parameters
    ----------
    columns : tuple of str
    lines : tuple of int, length n
        Line of each row in the file, from 1.
    rows : tuple of list of str, length n
    """

    columns: tuple[str, ...]
    lines: tuple[int, ...]
    rows: tuple[list[str], ...]

    def get_texts(self, column: str) -> list[str]:
        """Cells of a column."""
        place = self.columns.index(column)
        return [row[place] for row in self.rows]

    def parse_numbers(self, column: str) -> FloatArray:
        """Cells of a column as numbers, NaN where a cell is empty or stands for missing.

        Raises
        ------
        LogError
            A cell is no finite number; the text names line and column.
        """
        values = []
        for line, cell in zip(self.lines, self.get_texts(column), strict=True):
            if is_missing(cell, None):
                values.append(np.nan)
                continue
            number = float(cell.replace(",", ".")) if is_number(cell, None) else np.nan
            if not np.isfinite(number):
                raise LogError(
                    f"line {line}, column {quote(column)}: found {quote(cell)}; allowed: a "
                    "number, or nothing where it was not measured"
                )
            values.append(number)
        return np.array(values, dtype=np.float64)


class _Header(NamedTuple):
    """Where the header is among the lines, its separator and its columns."""

    place: int
    delimiter: str
    columns: list[str]


def read_table(path: Path, wanted: Sequence[str]) -> TextTable:
    """Read a table whose header holds every wanted column.

    Parameters
    ----------
    path : Path
    wanted : sequence of str

    Returns
    -------
    TextTable
        Separator recognised; lines that begin with ``#`` and blank lines are passed over.

    Raises
    ------
    LogError
        No text, no such header, a column twice, a row with another number of cells, no rows.
    OSError
        The file cannot be read.
    """
    if not looks_like_text(path):
        raise LogError("this is not text; allowed: a table as delimited text")
    body = b"".join(block.body for block in read_text_blocks(path, None))
    lines = [
        (number, line)
        for number, line in enumerate(body.decode("utf-8", errors="replace").split("\n"), 1)
        if line.strip() and not line.lstrip().startswith(_COMMENT)
    ]
    if not lines:
        raise LogError("found no rows: only blank lines or comments")
    place, delimiter, columns = _find_header(lines, wanted)
    rows, numbers = [], []
    for number, line in lines[place + 1 :]:
        cells = split_line(line, delimiter)
        if len(cells) == len(columns) + 1 and cells[-1] == "":
            cells = cells[:-1]
        if len(cells) != len(columns):
            raise LogError(
                f"line {number}: found {len(cells)} cells; allowed: {len(columns)}, as in the "
                f"header{_suggest_delimiter(delimiter, len(cells), len(columns))}"
            )
        rows.append(cells)
        numbers.append(number)
    if not rows:
        raise LogError(f"found no rows below the header in line {lines[place][0]}")
    return TextTable(tuple(columns), tuple(numbers), tuple(rows))


def _suggest_delimiter(delimiter: str, cells: int, columns: int) -> str:
    if delimiter == "," and cells > columns:
        return "; with decimal commas, cells must be separated by semicolons or tabs"
    return ""


def _find_header(lines: Sequence[tuple[int, str]], wanted: Sequence[str]) -> _Header:
    for place, (number, line) in enumerate(lines):
        for delimiter in DELIMITERS:
            cells = [clean_name(cell) for cell in split_line(line, delimiter)]
            if set(wanted) <= set(cells):
                twice = next((name for name in wanted if cells.count(name) > 1), None)
                if twice is not None:
                    raise LogError(
                        f"line {number}: the column {quote(twice)} is there "
                        f"{cells.count(twice)} times; allowed: once"
                    )
                return _Header(place, delimiter, cells)
    number, line = lines[0]
    delimiter = max(DELIMITERS[:-1], key=line.count)
    cells = [clean_name(cell) for cell in split_line(line, delimiter)]
    missing = next((name for name in wanted if name not in cells), wanted[0])
    raise LogError(
        f"line {number}: found no column {quote(missing)}; the layout names it; found: "
        f"{quote_all(cells)}{suggest_word(missing, cells)}"
    )


def read_sides(table: TextTable, layout: SidedLayout, column: str | None) -> list[str]:
    """Side of each row: by its word, or as the layout says it of the whole file.

    Parameters
    ----------
    table : TextTable
    layout : SidedLayout
    column : str or None
        Column that holds the side.

    Returns
    -------
    list of str
        ``left``, ``right``, or empty where it is unknown.

    Raises
    ------
    LogError
        A word is not known.
    """
    if column is None:
        return ["" if layout.side == "unknown" else str(layout.side)] * len(table.rows)
    words: dict[str, str] = {**SIDE_WORDS, **layout.sides}
    folded = {word.casefold(): side for word, side in words.items()}
    found = []
    for line, text in zip(table.lines, table.get_texts(column), strict=True):
        side = words.get(text) or folded.get(text.casefold())
        if side is None:
            raise LogError(
                f"line {line}, column {quote(column)}: found {quote(text)}; allowed: "
                f"{quote_all(words)} in any case, or a word that the layout's sides maps to left "
                "or right"
            )
        found.append(side)
    return found
