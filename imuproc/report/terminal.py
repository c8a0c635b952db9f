"""The step table of one run in a terminal: 80 columns, readable without colour."""

from collections.abc import Iterable, Sequence
from math import nan
from operator import itemgetter
from string import ascii_lowercase
from typing import TYPE_CHECKING, Final

import numpy as np
from rich.console import Console
from rich.text import Text

from imuproc.core.columns import uncertainty_name
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious, is_told
from imuproc.core.flag_words import describe_flag, describe_site
from imuproc.core.flags import RaisedFlag
from imuproc.core.words import format_count, format_steps
from imuproc.files.text import MISSING, clean_text
from imuproc.report.terminal_figures import FIGURES
from imuproc.report.terminal_table import Column, TerminalTable, print_terms
from imuproc.results.columns import difference_name, mean_name
from imuproc.results.summary import RunSummary

if TYPE_CHECKING:
    import pandas as pd


_RANKS: Final = {
    "contact_time_s": 1,
    "flight_time_s": 4,
    "step_frequency_hz": 5,
    "shin_angle_touchdown_deg": 2,
    "dorsiflexion_swing_mean_deg": 3,
}
"""Figures of the table; the largest rank is left out first where the terminal is narrow."""
_WORDS: Final = ("side", "phase", "flags")

LEGEND: Final = (
    ("freq.", "step frequency"),
    (
        "shin",
        "shin angle at touchdown: 90 as in standing (upright where its lean is stated), below 90 "
        "knee ahead of the ankle",
    ),
    (
        "toe",
        "toe in the air (dorsiflexion), mean of the last 40 % of the swing: 0 as in standing, plus "
        "is toe up",
    ),
    ("±", "standard uncertainty; the true figure is expected within twice it"),
    (MISSING, "missing"),
    ("mean", "of all steps but those of slowing"),
    ("L minus R", "left minus right, trend removed; below twice its ± perhaps chance"),
)
"""What stands once under the tables."""


def print_run(console: Console, summary: RunSummary, steps: "pd.DataFrame | None") -> None:
    """Print one run: a header, its steps, its means, and its flags in sentences.

    Parameters
    ----------
    console : rich.console.Console
    summary : RunSummary
    steps : DataFrame or None
        The run's step table; None for a run that failed.

    See Also
    --------
    print_closing : what stands once below all runs.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> from rich.console import Console
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> console = Console(width=100)
    >>> with console.capture() as capture:
    ...     print_run(console, imuproc.summarise(result), result.steps)
    >>> capture.get().splitlines()[0].strip()
    'R07  run R07-01, three-point start, 20 m, 20 steps'
    """
    console.print(_format_header(summary))
    if steps is None:
        console.print(Text(f"Not processed: {clean_text(summary.reason)}", style="red"))
    elif len(steps) == 0:
        console.print(Text("No steps."))
    else:
        marks = _assign_letters(summary, steps)
        _print_steps(console, summary, steps, marks)
        _print_flags(console, summary, steps, marks)
        console.print()
        return
    _print_flags(console, summary, None, _assign_letters(summary, None))
    console.print()


def print_closing(console: Console, summaries: Sequence[RunSummary]) -> None:
    """Print what holds for all tables: how to read them, and how many runs were done."""
    if any(summary.status == "done" for summary in summaries):
        print_terms(console, LEGEND)
        console.print()
    failed = [summary.run for summary in summaries if summary.status == "failed"]
    line = f"{format_count(len(summaries), 'run')}: {len(summaries) - len(failed)} done"
    if failed:
        line += f", {len(failed)} failed ({clean_text(', '.join(failed))})"
    console.print(Text(f"{line}."))


def _format_header(summary: RunSummary) -> Text:
    start = "block" if summary.start == "blocks" else summary.start
    parts = [f"run {summary.run}", f"{start} start"]
    if summary.distance_m is not None:
        parts.append(f"{summary.distance_m:g} m")
    if summary.status == "done":
        parts.append(format_count(summary.counts.get("steps", 0), "step"))
    if summary.start_time:
        parts.append(f"at {summary.start_time}")
    return Text.assemble((clean_text(summary.athlete), "bold"), "  ", clean_text(", ".join(parts)))


def _print_steps(
    console: Console, summary: RunSummary, steps: "pd.DataFrame", marks: dict[str, str]
) -> None:
    """The steps, and below them their means and the differences between the sides."""
    figures = {name: _figure_cells(steps, name) for name in _RANKS}
    raised = [
        " ".join(marks[name] for name in _list_names(value) if name in marks)
        for value in steps["flags"]
    ]
    words = [[clean_text(str(word)) for word in steps[name]] for name in ("step", "side", "phase")]
    rows = [
        _style_text(cells, "dim" if cells[2] == "slowing" else "")
        for cells in zip(*words, *figures.values(), raised, strict=True)
    ]
    for label, column_of in (("mean", mean_name), ("L minus R", difference_name)):
        cells = [
            _summary_cell(summary, name, column_of(name), above) for name, above in figures.items()
        ]
        rows.append(_style_text(("", "", label, *cells, ""), "bold"))
    table = TerminalTable(console, _make_columns(), rows)
    table.print(rows)
    table.print_dropped("steps.csv has all.")


def _make_columns() -> list[Column[list[Text]]]:
    """Columns of rows whose cells stand in the order of the columns."""
    asked = [("step", "", 0), ("side", "", 0), ("phase", "", 0)]
    asked += [(FIGURES[name].heading, FIGURES[name].unit, rank) for name, rank in _RANKS.items()]
    asked.append(("flags", "", 0))
    return [
        Column(heading, unit, itemgetter(at), rank, heading in _WORDS, folds=heading == "flags")
        for at, (heading, unit, rank) in enumerate(asked)
    ]


def _style_text(cells: Iterable[str], style: str) -> list[Text]:
    return [Text(cell, style=style) for cell in cells]


def _figure_cells(steps: "pd.DataFrame", name: str) -> list[str]:
    """Cells of one column, padded so that the points stand under each other."""
    pairs = steps[[name, uncertainty_name(name)]].to_numpy(dtype=np.float64).tolist()
    cells = [FIGURES[name].with_uncertainty(value, u) for value, u in pairs]
    tails = [cell.partition(" ")[2] for cell in cells]
    width = max(map(len, tails))
    return [
        f"{cell.partition(' ')[0]} {tail:<{width}}" if width else cell
        for cell, tail in zip(cells, tails, strict=True)
    ]


def _summary_cell(summary: RunSummary, name: str, column: str, above: list[str]) -> str:
    """A mean or difference; its point stands under those above it."""
    value, u = (summary.figures.get(one, nan) for one in (column, uncertainty_name(column)))
    number, _, tail = FIGURES[name].with_uncertainty(value, u).partition(" ")
    room = len(above[0]) - above[0].find(" ") - 1 if " " in above[0] else 0
    return f"{number} {tail:<{room}}" if room or tail else number


def _list_names(joined: object) -> list[str]:
    return [name for name in joined.split(";") if name] if isinstance(joined, str) else []


def _assign_letters(summary: RunSummary, steps: "pd.DataFrame | None") -> dict[str, str]:
    """A letter for each flag, in order of appearance; the explanation below uses it too."""
    names: Iterable[str] = summary.flag_names()
    if steps is not None:
        names = [*(name for value in steps["flags"] for name in _list_names(value)), *names]
    letters = [*ascii_lowercase, *(f"{a}{b}" for a in ascii_lowercase for b in ascii_lowercase)]
    told = dict.fromkeys(name for name in names if is_told(name, "terminal"))
    return dict(zip(told, letters, strict=False))


def _print_flags(
    console: Console, summary: RunSummary, steps: "pd.DataFrame | None", marks: dict[str, str]
) -> None:
    if not marks:
        return
    print_terms(
        console, ((mark, _explain_flag(name, summary, steps)) for name, mark in marks.items())
    )


def _explain_flag(name: str, summary: RunSummary, steps: "pd.DataFrame | None") -> Text:
    flag = FLAGS.get(name)
    of_run = [raised for raised in summary.flags if raised.name == name and raised.step is None]
    places = ", ".join(filter(None, [_say_where(of_run), _on_steps(name, steps)]))
    details = "; ".join(dict.fromkeys(filter(None, (describe_flag(raised) for raised in of_run))))
    words = Text()
    words.append(clean_text(name), style="bold red" if is_serious(name) else "bold")
    words.append(f" ({places}): " if places else ": ")
    if flag:
        words.append(f"{flag.sentence} {flag.advice}")
    if details:
        words.append(f" [{clean_text(details)}]")
    return words


def _say_where(of_run: list[RaisedFlag]) -> str:
    sites = dict.fromkeys(describe_site(raised) or "whole run" for raised in of_run)
    return ", ".join(sites)


def _on_steps(name: str, steps: "pd.DataFrame | None") -> str:
    if steps is None:
        return ""
    numbers = [
        int(step)
        for step, joined in zip(steps["step"], steps["flags"], strict=True)
        if name in _list_names(joined)
    ]
    if not numbers:
        return ""
    if len(numbers) == len(steps):
        return "all steps"
    return format_steps(numbers)
