"""Two runs side by side in a terminal."""

from operator import attrgetter
from typing import Final

from rich.console import Console
from rich.text import Text

from imuproc.files.text import clean_text
from imuproc.report.pages.compare_page import DifferenceRow, difference_rows
from imuproc.report.pages.view import RunView
from imuproc.report.terminal_table import Column, TerminalTable

_LEGEND: Final = (
    "Means over the steps that both runs have in the phase, number by number. Difference: second "
    "minus first, ± one standard uncertainty: what the athlete's own steps and "
    "the sensors leave open. *: surely differs, by more than twice that."
)


def print_two_runs(console: Console, first: RunView, second: RunView) -> None:
    """Print means of each phase of both runs and their differences.

    Parameters
    ----------
    console : rich.console.Console
    first, second : RunView
    """
    rows = difference_rows(first, second)
    names = [clean_text(view.summary.run) for view in (first, second)]
    athletes = [clean_text(view.summary.athlete) for view in (first, second)]
    columns: list[Column[DifferenceRow]] = [
        Column("phase", "", attrgetter("phase"), 0, True),
        Column("figure", "", attrgetter("name"), 0, True),
        Column(names[0], athletes[0], attrgetter("first")),
        Column(names[1], athletes[1], attrgetter("second")),
        Column("difference", "", _show_difference),
    ]
    if not rows:
        console.print(Text("The runs have no phase in common."))
        return
    TerminalTable(console, columns, rows).print(rows)
    console.print()
    console.print(Text(_LEGEND))


def _show_difference(row: DifferenceRow) -> Text:
    words = f"{row.difference} {'*' if row.clear else ' '}"
    return Text(words, style="bold" if row.clear else "")
