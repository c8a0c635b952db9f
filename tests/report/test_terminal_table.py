"""The table of the terminal."""

import io

from rich.console import Console
from rich.text import Text

from imuproc.report.terminal_table import Column, TerminalTable

Row = tuple[str, str, str]
ROWS: list[Row] = [("start", "12.5 ±0.5", "a b c"), ("end", "7.0 ±1.25", "")]
COLUMNS: list[Column[Row]] = [
    Column("word", "", lambda row: row[0], words=True),
    Column("figure", "ms", lambda row: f"{row[1]:<9}", 2),
    Column("", "", lambda row: "", 3),
    Column("flags", "", lambda row: Text(row[2], style="red"), 0, words=True, folds=True),
]


def shown(width: int, parts: tuple[list[Row], ...] = (ROWS,), terminal: bool = False) -> list[str]:
    out = io.StringIO()
    console = Console(file=out, width=width, force_terminal=terminal)
    table = TerminalTable(console, COLUMNS, ROWS)
    for place, rows in enumerate(parts):
        table.print(rows, headings=not place)
    table.print_dropped("a.csv has all.")
    return [line.rstrip() for line in out.getvalue().splitlines()]


def test_columns_are_as_wide_as_their_cells_and_empty_ones_are_left_out() -> None:
    assert shown(40) == [
        "word     figure flags",
        "             ms",
        "start 12.5 ±0.5 a b c",
        "end   7.0 ±1.25",
    ]


def test_parts_stand_under_each_other() -> None:
    assert shown(40, (ROWS[:1], ROWS[1:])) == shown(40)


def test_the_least_important_column_goes_where_there_is_no_room_and_is_named() -> None:
    lines = shown(14)
    assert lines[:4] == ["word  flags", "", "start a b c", "end"]
    assert " ".join(lines[4:]) == "Not shown, the terminal is too narrow: figure ms. a.csv has all."


def test_a_column_that_folds_takes_more_lines_before_others_go() -> None:
    assert shown(40)[2:] == shown(21)[2:]
    rows: list[Row] = [("start", "12.5 ±0.5", "a b c d e f g")]
    out = io.StringIO()
    TerminalTable(Console(file=out, width=21), COLUMNS, rows).print(rows)
    lines = [line.rstrip() for line in out.getvalue().splitlines()]
    assert lines[2:] == ["start 12.5 ±0.5 a b c", "                d e f", "                g"]


def test_colours_are_for_terminals_alone() -> None:
    assert not any("\x1b" in line for line in shown(40))
    assert any("\x1b[31m" in line for line in shown(40, terminal=True))
