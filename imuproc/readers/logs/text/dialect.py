"""Where the table of a delimited log begins, its separator and its columns.

A header is the line that holds every column name of the layout, under one of the separators. So
lines of other text above it need no setting, and nothing is guessed.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import Final, NamedTuple

from imuproc.core.errors import LogError
from imuproc.core.words import plural
from imuproc.files.wording import quote
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.text.cells import begins_like_number, is_missing, is_number, split_line
from imuproc.readers.logs.units_stated import check_stated_unit
from imuproc.readers.logs.wanted import (
    Wanted,
    clean_name,
    describe_missing,
    find_positions,
    list_wanted_columns,
)

# Blanks last: under them a header separated by tabs would look right too.
DELIMITERS: Final = (",", ";", "\t", "|", " ")
HEAD_LINE_COUNT: Final = 1000
"""Lines in which the table must begin; chosen: far more than any logger writes above it."""
_FIRST_LINE_COUNT: Final = 50
"""Lines that are looked at first; chosen: most headers stand there."""
_MAX_DESCRIPTION_LINE_COUNT: Final = 3
"""Lines of units or other words between header and samples; chosen by judgement."""


@dataclass(frozen=True)
class Line:
    """One line that is not blank; ``number`` counts from 1 through the whole file."""

    number: int
    text: str
    is_comment: bool = False


class _Header(NamedTuple):
    """Line of column names, and its cells under the separator that fits."""

    line: Line
    delimiter: str
    cells: list[str]


@dataclass(frozen=True)
class TableShape:
    """Where and how the table stands.

    Parameters
    ----------
    delimiter : str
        A blank stands for any run of blanks and tabs.
    columns : tuple of str
        Every column of the file, numbered from 1 where the file has no header.
    positions : tuple of int
        The wanted columns' places from 0: time (where the layout has it), accelerometer, gyroscope.
    first_line : int
        Line of the first sample, from 1.
    """

    delimiter: str
    columns: tuple[str, ...]
    positions: tuple[int, ...]
    first_line: int


def find_table(data: bytes, layout: Layout, select: str | None) -> TableShape:
    """Find the table in a delimited log.

    Parameters
    ----------
    data : bytes
        The file's text from its first line, ``HEAD_LINE_COUNT`` lines below those to skip at least.
    layout : Layout
    select : str or None
        Prefix of the sensor's columns.

    Raises
    ------
    LogError
        No samples, no header, a column missing or there twice, a unit line that contradicts the
        layout, or a first sample with another number of cells than the header.
    """
    wanted = list_wanted_columns(layout, select)
    first = _split_first_lines(data, layout, _FIRST_LINE_COUNT)
    if first and not (layout.has_numbered_columns or any(line.is_comment for line in first)):
        with suppress(LogError):  # what is not found there may be further down
            return _find_named_table(first, layout, wanted)
    lines = _split_first_lines(data, layout, HEAD_LINE_COUNT)
    if not any(not line.is_comment for line in lines):
        raise LogError("found no samples: only blank lines or comments")
    return (
        _find_numbered_table(lines, layout, wanted)
        if layout.has_numbered_columns
        else _find_named_table(lines, layout, wanted)
    )


def _split_first_lines(data: bytes, layout: Layout, count: int) -> list[Line]:
    raw = data.split(b"\n", layout.skip_rows + count)[: layout.skip_rows + count]
    if layout.skip_rows and len(raw) <= layout.skip_rows:
        raise LogError(f"found {len(raw)} lines; skip_rows = {layout.skip_rows} leaves none")
    lines = []
    for number, line in enumerate(raw[layout.skip_rows :], layout.skip_rows + 1):
        # Names are matched letter by letter, so a byte that is no UTF-8 can only fail to match.
        text = line.decode("utf-8", errors="replace")
        if text.strip():
            lines.append(Line(number, text, text.lstrip().startswith(layout.comment)))
    return lines


def _list_delimiters(layout: Layout) -> tuple[str, ...]:
    return DELIMITERS if layout.delimiter is None else (layout.delimiter,)


def _find_named_table(lines: list[Line], layout: Layout, wanted: tuple[Wanted, ...]) -> TableShape:
    header = _find_header(lines, layout, _list_delimiters(layout), wanted)
    if header is None:
        raise _explain_missing_header(lines, layout, wanted)
    line, delimiter, cells = header
    places = find_positions(wanted, cells) or ()
    for place in places:
        if cells.count(cells[place]) > 1:
            raise LogError(
                f"line {line.number}: the column {quote(cells[place])} is there "
                f"{cells.count(cells[place])} times; allowed: once"
            )
    _check_units(line.number, [_extract_bracketed_unit(cell) for cell in cells], places, wanted)
    above = [other for other in lines if other.number < line.number and not other.is_comment]
    below = [other for other in lines if other.number > line.number and not other.is_comment]
    if above and _are_all_numbers(split_line(above[-1].text, delimiter), places, layout):
        raise LogError(
            f"line {above[-1].number} holds numbers, but the header stands in line {line.number}; "
            "allowed: one header above all samples"
        )
    first = _skip_descriptions(below, delimiter, places, wanted)
    if first is None:
        raise LogError(f"found no samples below the header in line {line.number}")
    names = _fit_column_names(cells, split_line(first.text, delimiter), first.number)
    return TableShape(delimiter, names, places, first.number)


def _find_header(
    lines: list[Line], layout: Layout, delimiters: Iterable[str], wanted: tuple[Wanted, ...]
) -> _Header | None:
    """First line that holds every wanted name; a comment line only where no other does."""
    comments = [line for line in lines if line.is_comment]
    mark = layout.comment
    texts = [
        *((line, line.text) for line in lines if not line.is_comment),
        *((line, line.text.lstrip().removeprefix(mark)) for line in comments),
        *((line, line.text) for line in comments),  # the mark may belong to the first name
    ]
    for line, text in texts:
        for delimiter in delimiters:
            cells = [clean_name(cell) for cell in split_line(text, delimiter)]
            if find_positions(wanted, cells) is not None:
                return _Header(line, delimiter, cells)
    return None


def _explain_missing_header(
    lines: list[Line], layout: Layout, wanted: tuple[Wanted, ...]
) -> LogError:
    other = _find_header(lines, layout, DELIMITERS, wanted)
    if other is not None:
        return LogError(
            f"the layout's delimiter {layout.delimiter!r} does not fit: line {other.line.number} "
            f"holds every column with {other.delimiter!r}"
        )
    first = next(line for line in lines if not line.is_comment)
    cells = _split_widest(first.text, layout)
    numbers = [is_number(cell, None) or is_missing(cell, layout.missing) for cell in cells]
    if all(numbers) and len(cells) > 1:
        return LogError(
            f"found no header: line {first.number} holds numbers already; allowed: a header with "
            "the layout's column names, or a layout that numbers columns from 1"
        )
    line, cells = _find_likeliest_header(lines, layout, wanted)
    text = f"line {line.number}: {describe_missing(wanted, cells)}"
    if any("\ufffd" in cell for cell in cells):
        text += "; the text is not UTF-8: state the layout's encoding, such as cp1252"
    elif any("\x00" in cell for cell in cells):
        text += (
            "; found NUL characters: this is no text (a spreadsheet is to be saved as CSV), or "
            "text in another encoding: state the layout's encoding, such as utf-16-le"
        )
    return LogError(text)


def _find_likeliest_header(
    lines: list[Line], layout: Layout, wanted: tuple[Wanted, ...]
) -> tuple[Line, list[str]]:
    """The line with the most wanted names; the first line where none has any."""
    names = {name for column in wanted for name in column.names}
    plain = [line for line in lines if not line.is_comment]
    split = [
        (line, [clean_name(cell) for cell in _split_widest(line.text, layout)]) for line in plain
    ]
    return max(split, key=lambda pair: len(names.intersection(pair[1])))


def _split_widest(text: str, layout: Layout) -> list[str]:
    """Cells under the separator that gives the most; the earlier one where two give as many."""
    choices = _list_delimiters(layout)
    kept = [split_line(text, delimiter) for delimiter in choices if delimiter != " "]
    best = max(kept, key=len, default=[text])
    return best if len(best) > 1 or " " not in choices else split_line(text, " ")


def _skip_descriptions(
    lines: list[Line], delimiter: str, places: tuple[int, ...], wanted: tuple[Wanted, ...]
) -> Line | None:
    """First line of samples: lines of units or other words below the header are passed over."""
    for passed, line in enumerate(lines):
        cells = split_line(line.text, delimiter)
        if passed >= _MAX_DESCRIPTION_LINE_COUNT or not _is_description(cells):
            return line
        _check_units(line.number, cells, places, wanted)
    return None


def _is_description(cells: list[str]) -> bool:
    """Whether a line holds words and nothing that could be meant as a number."""
    words = [cell for cell in cells if not is_missing(cell, None)]
    return bool(words) and not any(begins_like_number(w) or is_number(w, None) for w in words)


def _check_units(
    number: int, cells: list[str], places: tuple[int, ...], wanted: tuple[Wanted, ...]
) -> None:
    for place, column in zip(places, wanted, strict=True):
        stated = cells[place] if place < len(cells) else None
        check_stated_unit(stated, column.unit, f"line {number}, column {quote(column.names[0])}")


def _extract_bracketed_unit(name: str) -> str:
    """The unit in a name such as ``ax [g]``; empty where there is none."""
    opened = max(name.rfind("["), name.rfind("("))
    return name[opened:] if opened > 0 and name.endswith(("]", ")")) else ""


def _fit_column_names(header: list[str], sample: list[str], number: int) -> tuple[str, ...]:
    """Column names as many as cells; a trailing separator on either side is allowed."""
    if len(sample) == len(header) + 1 and sample[-1] == "":
        return (*header, "")
    if len(sample) == len(header) - 1 and header[-1] == "":
        return tuple(header[:-1])
    if len(sample) != len(header):
        raise LogError(
            f"line {number}: found {plural(len(sample), 'cell')}; allowed: {len(header)}, as in "
            "the header"
        )
    return tuple(header)


def _find_numbered_table(
    lines: list[Line], layout: Layout, wanted: tuple[Wanted, ...]
) -> TableShape:
    places = tuple(int(column.names[0]) - 1 for column in wanted)
    plain = [line for line in lines if not line.is_comment]
    for passed, line in enumerate(plain):
        for delimiter in sorted(_list_delimiters(layout), key=";\t|, ".index):
            cells = split_line(line.text, delimiter)
            if _are_all_numbers(cells, places, layout):
                names = tuple(str(column) for column in range(1, len(cells) + 1))
                return TableShape(delimiter, names, places, line.number)
        cells = _split_widest(line.text, layout)
        if passed >= _MAX_DESCRIPTION_LINE_COUNT or not _is_description(cells):
            raise _explain_no_number(line.number, cells, places, layout)
        _check_units(line.number, cells, places, wanted)
    raise LogError("found no samples: no line holds numbers")


def _are_all_numbers(cells: list[str], places: tuple[int, ...], layout: Layout) -> bool:
    """Whether the wanted cells are numbers, missing ones among them allowed."""
    if len(cells) <= max(places):
        return False
    chosen = [cells[place] for place in places]
    known = [is_number(cell, layout.decimal) for cell in chosen]
    missing = [is_missing(cell, layout.missing) for cell in chosen]
    return any(known) and all(k or m for k, m in zip(known, missing, strict=True))


def _explain_no_number(
    number: int, cells: list[str], places: tuple[int, ...], layout: Layout
) -> LogError:
    hint = f"; if line {number} is no sample, set the layout's skip_rows to {number}"
    if len(cells) <= max(places):
        return LogError(
            f"line {number}: found {plural(len(cells), 'cell')}; allowed: at least "
            f"{max(places) + 1}, which the layout's column numbers need{hint}"
        )
    bad = next(
        (p for p in places if not is_number(cells[p], layout.decimal)),
        places[0],
    )
    return LogError(
        f"line {number}, column {bad + 1}: found {quote(cells[bad])}; allowed: a number{hint}"
    )
