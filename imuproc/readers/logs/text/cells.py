"""Cells of one line of text, and which of them are numbers."""

import csv
import re
from contextlib import suppress
from typing import Final

# What loggers and spreadsheets write for a missing value; common practice, no source.
MISSING_WORDS: Final[tuple[str, ...]] = (
    "",
    *("nan", "NaN", "NAN", "Nan", "-nan", "na", "NA", "N/A", "n/a", "#N/A", "null", "NULL", "None"),
)
_UNSIGNED = {".": r"(?:\d+\.?\d*|\.\d+)", ",": r"(?:\d+,?\d*|,\d+)"}
_NUMBER: Final[dict[str, re.Pattern[str]]] = {
    decimal: re.compile(rf"[+-]?(?:{digits}(?:[eE][+-]?\d+)?|inf(?:inity)?|nan)", re.IGNORECASE)
    for decimal, digits in _UNSIGNED.items()
}
_NUMBER_BEGINS = re.compile(r"[+-]?[.,]?\d")


def split_line(line: str, delimiter: str) -> list[str]:
    """Cells of a line, double quotes and surrounding blanks taken away.

    Parameters
    ----------
    line : str
    delimiter : str
        One character; a blank stands for any run of blanks and tabs.
    """
    if delimiter == " ":
        line = line.replace("\t", " ").strip()
    cells = line.split(delimiter)
    if '"' in line:
        # A cell longer than csv takes: the plain split stands, quotes and all.
        with suppress(csv.Error):
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    elif delimiter == " ":
        cells = line.split()
    return [cell.strip() for cell in cells]


def is_number(cell: str, decimal: str | None) -> bool:
    """Whether a cell is a number with this decimal mark; None allows either."""
    if decimal is None:
        return any(pattern.fullmatch(cell) for pattern in _NUMBER.values())
    return _NUMBER[decimal].fullmatch(cell) is not None


def is_missing(cell: str, code: str | float | None) -> bool:
    """Whether a cell stands for a missing value; ``code`` is the layout's own mark for it."""
    return cell in MISSING_WORDS or (isinstance(code, str) and cell == code.strip())


def begins_like_number(cell: str) -> bool:
    """Whether a cell was probably meant as a number."""
    return _NUMBER_BEGINS.match(cell.lstrip("[( ")) is not None
