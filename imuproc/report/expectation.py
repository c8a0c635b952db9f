"""What to expect of a study, in a terminal."""

from functools import partial
from typing import Any, Final

import pandas as pd
from rich.console import Console
from rich.text import Text

from imuproc.core.words import format_count
from imuproc.files.text import MISSING
from imuproc.planning.planner import LIMITS, Expectation
from imuproc.report.terminal_table import Column, TerminalTable, print_terms

_Row = dict[str, Any]

# Column of the table, two lines of heading, rank.
_ACCURACY: Final = (
    ("given_percent", "given", "%", 3),
    ("bias", "bias", "", 1),
    ("sd", "SD", "", 1),
    ("sd_within_run", "SD within", "runs", 4),
    ("sd_between_runs", "SD between", "runs", 4),
    ("within_2u_percent", "within", "2u %", 2),
    ("smallest_change_step", "change", "a step", 1),
    ("smallest_change_run", "change", "a run", 1),
)
_CHANGES: Final = (
    ("change", "change", "", 0),
    ("step_sd", "SD of", "steps", 2),
    ("run_sd", "SD of", "runs", 2),
    ("steps_needed", "steps", "", 0),
    ("steps_without_error", "steps if", "perfect", 1),
    ("runs_needed", "runs", "", 0),
    ("runs_without_error", "runs if", "perfect", 1),
)


def print_expectation(console: Console, found: Expectation, alpha: float, power: float) -> None:
    """Print accuracy, the least changes beyond error, numbers needed, and what limits them.

    Parameters
    ----------
    console : rich.console.Console
    found : Expectation
    alpha, power : float
        Of the test that the numbers hold for, as shares.
    """
    runs = format_count(found.runs, "simulated run")
    _say_accuracy(
        console, f"{runs}: {found.found} of {found.steps} steps found, {found.invented} invented."
    )
    for why in found.failed:
        _say_accuracy(console, f"No result: {why}")
    _say_accuracy(
        console, "\nAccuracy to expect of single steps, and the least change beyond error:"
    )
    _print_table(console, found.accuracy, _ACCURACY, "accuracy.csv has all.")
    if len(found.changes):
        test = f"two-sided, {100.0 * alpha:g} %, power {100.0 * power:g} %"
        _say_accuracy(console, f"\nSteps or runs needed in each of two conditions ({test}):")
        _print_table(console, found.changes, _CHANGES, "changes.csv has all.")
    _say_accuracy(console, "")
    print_terms(console, (("-", limit) for limit in LIMITS))


def _say_accuracy(console: Console, line: str) -> None:
    console.print(Text(line))


def _print_table(
    console: Console, table: pd.DataFrame, asked: tuple[tuple[str, str, str, int], ...], where: str
) -> None:
    columns: list[Column[_Row]] = [
        Column("figure", "", lambda row: str(row["figure"]), words=True),
        Column("unit", "", lambda row: str(row["unit"]), words=True),
        *(
            Column(above, below, partial(_format_number, name), rank)
            for name, above, below, rank in asked
        ),
    ]
    rows = [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]
    shown = TerminalTable(console, columns, rows)
    shown.print(rows)
    shown.print_dropped(where)


def _format_number(name: str, row: _Row) -> str:
    value = float(row[name])
    if value != value:
        return MISSING
    if value in (float("inf"), float("-inf")):
        return "too many"
    return f"{value:.0f}" if value == round(value) and abs(value) >= 1.0 else f"{value:.3g}"
