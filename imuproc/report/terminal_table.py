"""A table in a terminal: as many columns as there is room for, readable without colour."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

Row = TypeVar("Row")
Words = str | Text


@dataclass(frozen=True)
class Column(Generic[Row]):
    """A column of a table.

    Parameters
    ----------
    heading, unit : str
        Two lines of heading.
    cell : callable
        What stands in it of one row.
    rank : int
        The largest are left out first where the terminal is narrow; 0 always stays.
    words : bool
        Whether its cells stand at the left, not at the right as numbers do.
    folds : bool
        Whether a cell may take several lines.
    meaning : str
        For the legend; empty where the heading says it all.
    """

    heading: str
    unit: str
    cell: Callable[[Row], Words]
    rank: int = 0
    words: bool = False
    folds: bool = False
    meaning: str = ""


class TerminalTable(Generic[Row]):
    """Columns as wide as all rows need, printed in parts that stand under each other.

    Parameters
    ----------
    console : rich.console.Console
    columns : sequence of Column
        Without those that are empty throughout.
    rows : sequence
        All that will be printed.
    """

    def __init__(
        self, console: Console, columns: Sequence[Column[Row]], rows: Sequence[Row]
    ) -> None:
        self._console = console
        widths = [(column, _measure_width(column, rows)) for column in columns]
        self._kept = [pair for pair in widths if pair[1]]
        self._dropped: list[Column[Row]] = []
        while self._measure_needed() > console.width and max(
            column.rank for column, _ in self._kept
        ):
            least = max(self._kept, key=lambda pair: pair[0].rank)
            self._kept.remove(least)
            self._dropped.insert(0, least[0])

    def _measure_needed(self) -> int:
        return sum(width + 1 for _, width in self._kept) - 1

    @property
    def columns(self) -> list[Column[Row]]:
        """Those for which there is room."""
        return [column for column, _ in self._kept]

    @property
    def dropped(self) -> list[str]:
        """Headings of those for which there is none."""
        return [column.heading for column in self._dropped if column.heading]

    def print(self, rows: Iterable[Row], headings: bool = True) -> None:
        """Print some of the rows, under their headings or under what was printed before."""
        table = Table(
            box=None,
            pad_edge=False,
            padding=(0, 1, 0, 0),
            show_header=headings,
            header_style="bold",
        )
        for column, width in self._kept:
            heading = _place_words(column, column.heading, width).append("\n")
            table.add_column(
                heading.append(_place_words(column, column.unit, width)),
                min_width=width,
                no_wrap=not column.folds,
            )
        for row in rows:
            table.add_row(*(_place_words(c, c.cell(row), width) for c, width in self._kept))
        self._console.print(table)

    def print_dropped(self, elsewhere: str) -> None:
        """Say which columns are not shown and where they are, if there are any."""
        names = [" ".join(filter(None, [c.heading, c.unit])) for c in self._dropped if c.heading]
        if names:
            told = f"Not shown, the terminal is too narrow: {', '.join(names)}. {elsewhere}"
            self._console.print(Text(told))


def print_terms(
    console: Console, terms: Iterable[tuple[Words, Words]], numbers: bool = False
) -> None:
    """Print terms and, beside each, what there is to say of it.

    Parameters
    ----------
    console : rich.console.Console
    terms : iterable of (str or Text, str or Text)
        Terms that are str are printed bold.
    numbers : bool
        Whether the terms begin with numbers, which stand under each other.
    """
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True, justify="right" if numbers else "left")
    grid.add_column()
    for term, words in terms:
        grid.add_row(Text(term, style="bold") if isinstance(term, str) else term, _make_text(words))
    if grid.row_count:
        console.print(grid)


def _make_text(words: Words) -> Text:
    return Text(words) if isinstance(words, str) else words


def _place_words(column: Column[Row], words: Words, width: int) -> Text:
    """Words of a cell; numbers at its right, with the blanks that they may end in."""
    text = _make_text(words).copy()
    if not column.words:
        text.pad_left(width - text.cell_len)
    return text


def _measure_width(column: Column[Row], rows: Sequence[Row]) -> int:
    """Cells that a column needs; of one that folds, as many as its longest word."""
    texts = [column.heading, column.unit, *(_make_text(column.cell(row)).plain for row in rows)]
    if column.folds:
        texts = [word for text in texts for word in text.split()]
    return max(map(cell_len, texts), default=0)
