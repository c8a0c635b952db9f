"""The step table of one run in a terminal: 80 columns, readable without colour."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from string import ascii_lowercase
from typing import TYPE_CHECKING, Final

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from imuproc.core.columns import uncertainty_name
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious, is_told
from imuproc.core.flag_words import detail, where
from imuproc.core.flags import RaisedFlag
from imuproc.core.words import plural
from imuproc.files.text import MISSING, clean, with_uncertainty
from imuproc.results.summary import RunSummary, difference_name, mean_name

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class _Shown:
    """A figure as it stands in the terminal: heading, factor to its unit, decimals."""

    column: str
    heading: str
    factor: float
    decimals: int


_SHOWN: Final = (
    _Shown("contact_time_s", "contact\nms", 1000.0, 0),
    _Shown("flight_time_s", "flight\nms", 1000.0, 0),
    _Shown("step_frequency_hz", "freq.\nHz", 1.0, 2),
    _Shown("shin_angle_touchdown_deg", "shin\ndeg", 1.0, 1),
    _Shown("dorsiflexion_swing_mean_deg", "dorsifl.\ndeg", 1.0, 1),
)

LEGEND: Final = (
    ("freq.", "step frequency"),
    (
        "shin",
        "shin angle at touchdown: 90 as in standing (upright where its lean is stated), below 90 "
        "knee ahead of the ankle",
    ),
    (
        "dorsifl.",
        "dorsiflexion, mean of the last 40 % of the swing: 0 as in standing, toe up positive",
    ),
    ("±", "standard uncertainty; the true figure is expected within twice it"),
    (MISSING, "missing or withheld"),
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
    """
    console.print(_header(summary))
    if steps is None:
        console.print(Text(f"Not processed: {clean(summary.reason)}", style="red"))
    elif len(steps) == 0:
        console.print(Text("No steps."))
    else:
        marks = _marks(summary, steps)
        console.print(_step_table(summary, steps, marks))
        _print_flags(console, summary, steps, marks)
        console.print()
        return
    _print_flags(console, summary, None, _marks(summary, None))
    console.print()


def print_closing(console: Console, summaries: Sequence[RunSummary]) -> None:
    """Print what holds for all tables: how to read them, and how many runs were done."""
    if any(summary.status == "done" for summary in summaries):
        legend = Table.grid(padding=(0, 1, 0, 0))
        for term, meaning in LEGEND:
            legend.add_row(Text(term, style="bold"), Text(meaning))
        console.print(legend)
        console.print()
    failed = [summary.run for summary in summaries if summary.status == "failed"]
    line = f"{plural(len(summaries), 'run')}: {len(summaries) - len(failed)} done"
    if failed:
        line += f", {len(failed)} failed ({clean(', '.join(failed))})"
    console.print(Text(f"{line}."))


def _header(summary: RunSummary) -> Text:
    start = "block" if summary.start == "blocks" else summary.start
    parts = [f"run {summary.run}", f"{start} start"]
    if summary.distance_m is not None:
        parts.append(f"{summary.distance_m:g} m")
    if summary.status == "done":
        parts.append(plural(summary.counts.get("steps", 0), "step"))
    if summary.start_time:
        parts.append(f"at {summary.start_time}")
    return Text.assemble((clean(summary.athlete), "bold"), "  ", clean(", ".join(parts)))


def _step_table(summary: RunSummary, steps: "pd.DataFrame", marks: dict[str, str]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("step", justify="right", no_wrap=True)
    table.add_column("side", no_wrap=True)
    table.add_column("phase", no_wrap=True)
    for shown in _SHOWN:
        table.add_column(shown.heading, justify="right", no_wrap=True)
    table.add_column("flags", overflow="fold")
    figures = [_figure_cells(steps, shown) for shown in _SHOWN]
    flags = [_names(value) for value in steps["flags"]]
    for row, (step, side, phase) in enumerate(
        zip(steps["step"], steps["side"], steps["phase"], strict=True)
    ):
        raised = " ".join(marks[name] for name in flags[row] if name in marks)
        cells = [str(step), clean(str(side)), clean(str(phase)), *(f[row] for f in figures), raised]
        table.add_row(*(Text(cell) for cell in cells), style="dim" if phase == "slowing" else "")
    table.add_section()
    for label, column_of in (("mean", mean_name), ("L minus R", difference_name)):
        cells = [
            _summary_cell(summary, shown, column_of(shown.column), figures[at])
            for at, shown in enumerate(_SHOWN)
        ]
        table.add_row("", "", label, *cells, "", style="bold")
    return table


def _figure_cells(steps: "pd.DataFrame", shown: _Shown) -> list[str]:
    """Cells of one column, padded so that the points stand under each other."""
    values = steps[shown.column].to_numpy(dtype=np.float64) * shown.factor
    uncertain = steps[uncertainty_name(shown.column)].to_numpy(dtype=np.float64) * shown.factor
    cells = [
        with_uncertainty(float(value), float(u), shown.decimals)
        for value, u in zip(values, uncertain, strict=True)
    ]
    tails = [cell.partition(" ")[2] for cell in cells]
    width = max(map(len, tails))
    return [
        f"{cell.partition(' ')[0]} {tail:<{width}}" if width else cell
        for cell, tail in zip(cells, tails, strict=True)
    ]


def _summary_cell(summary: RunSummary, shown: _Shown, column: str, above: list[str]) -> str:
    """A mean or difference; its point stands under those above it."""
    value, u = (
        summary.figures.get(name, float("nan")) * shown.factor
        for name in (column, uncertainty_name(column))
    )
    number, _, tail = with_uncertainty(value, u, shown.decimals).partition(" ")
    room = len(above[0]) - above[0].find(" ") - 1 if " " in above[0] else 0
    return f"{number} {tail:<{room}}" if room or tail else number


def _names(joined: object) -> list[str]:
    return [name for name in joined.split(";") if name] if isinstance(joined, str) else []


def _marks(summary: RunSummary, steps: "pd.DataFrame | None") -> dict[str, str]:
    """A letter for each flag, in order of appearance; the explanation below uses it too."""
    names: Iterable[str] = summary.flag_names()
    if steps is not None:
        names = [*(name for value in steps["flags"] for name in _names(value)), *names]
    letters = [*ascii_lowercase, *(f"{a}{b}" for a in ascii_lowercase for b in ascii_lowercase)]
    told = dict.fromkeys(name for name in names if is_told(name, "terminal"))
    return dict(zip(told, letters, strict=False))


def _print_flags(
    console: Console, summary: RunSummary, steps: "pd.DataFrame | None", marks: dict[str, str]
) -> None:
    if not marks:
        return
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for name, mark in marks.items():
        grid.add_row(Text(mark, style="bold"), _explanation(name, summary, steps))
    console.print(grid)


def _explanation(name: str, summary: RunSummary, steps: "pd.DataFrame | None") -> Text:
    flag = FLAGS.get(name)
    of_run = [raised for raised in summary.flags if raised.name == name and raised.step is None]
    places = ", ".join(filter(None, [_where(of_run), _on_steps(name, steps)]))
    details = "; ".join(dict.fromkeys(filter(None, (detail(raised) for raised in of_run))))
    words = Text()
    words.append(clean(name), style="bold red" if is_serious(name) else "bold")
    words.append(f" ({places}): " if places else ": ")
    if flag:
        words.append(f"{flag.sentence} {flag.advice}")
    if details:
        words.append(f" [{clean(details)}]")
    return words


def _where(of_run: list[RaisedFlag]) -> str:
    sites = dict.fromkeys(where(raised) or "whole run" for raised in of_run)
    return ", ".join(sites)


def _on_steps(name: str, steps: "pd.DataFrame | None") -> str:
    if steps is None:
        return ""
    numbers = [
        int(step)
        for step, joined in zip(steps["step"], steps["flags"], strict=True)
        if name in _names(joined)
    ]
    if not numbers:
        return ""
    if len(numbers) == len(steps):
        return "all steps"
    return f"{'step' if len(numbers) == 1 else 'steps'} {_spans(numbers)}"


def _spans(numbers: list[int]) -> str:
    """Numbers as spans, as in ``1-3, 7``."""
    breaks = np.flatnonzero(np.diff(numbers) != 1) + 1
    spans = np.split(np.array(numbers), breaks)
    return ", ".join(str(s[0]) if len(s) == 1 else f"{s[0]}-{s[-1]}" for s in spans)
