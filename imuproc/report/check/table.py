"""The check of sensors in a terminal: a verdict in words, figures, and what to do."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from imuproc.checks.findings import (
    CheckReport,
    Reason,
    SensorCheck,
    Verdict,
    worst,
)
from imuproc.core.flag_policy import Severity
from imuproc.core.sites import SITES
from imuproc.core.words import plural
from imuproc.files.text import MISSING, clean
from imuproc.report.check.columns import COLUMNS, Column

_MOST_IN_FULL: Final = 8
"""Of more recordings than this every sensor has a word, and no line of its own."""

_STYLES: Final[dict[Verdict, str]] = {"fit": "green", "fit with limits": "yellow", "not fit": "red"}
_WORDS: Final[dict[Verdict, str]] = {
    "fit": "fit",
    "fit with limits": "limits",
    "not fit": "NOT FIT",
}
_HEADS: Final[dict[Severity, tuple[str, str]]] = {
    "unfit": ("NOT FIT", "red"),
    "limit": ("limits", "yellow"),
    "note": ("note", ""),
}
_ALL: Final = "all sensors"
_ALIKE: Final = 40
"""Reasons whose texts begin alike but for their numbers are one reason."""

_NUMBER: Final = re.compile(r"\d[\d.]*")


def print_check(console: Console, reports: Sequence[CheckReport]) -> None:
    """Print verdicts, figures, reasons and what to do.

    Parameters
    ----------
    console : rich.console.Console
    reports : sequence of CheckReport
    """
    shown = [_Shown(report) for report in reports]
    columns: list[Column] = []
    left_out: list[Column] = []
    brief = len(reports) > _MOST_IN_FULL and not all(one.alone for one in shown)
    if brief:
        _print_matrix(console, shown)
    else:
        rows = [row for one in shown for row in one.rows]
        columns, left_out = _fitting(console, rows, any(report.runs for report in reports))
        for one in shown:
            if not one.alone:
                console.print(one.header())
                _print_figures(console, one.rows, columns, rows)
                console.print()
        alone = [row for one in shown if one.alone for row in one.rows]
        if alone:
            _print_figures(console, alone, columns, rows)
            console.print()
    _print_legend(console, columns, left_out)
    _print_reasons(console, shown, brief)
    console.print(_closing(shown))


class _Shown:
    """One recording as it is shown; a log that no session file names stands alone."""

    def __init__(self, report: CheckReport) -> None:
        self.report = report
        self.alone = not report.athlete
        self.name = clean(report.run)
        names = [self.name if self.alone else _site(s.site) for s in report.sensors]
        self.own = list(zip(names, report.sensors, strict=True))
        # What concerns all sensors is each one's in its verdict.
        common = report.reasons
        self.rows = [(n, replace(s, reasons=(*s.reasons, *common))) for n, s in self.own]

    def header(self) -> Text:
        """Which run, what was seen, the verdict."""
        report = self.report
        if not any(sensor.sampling.samples for sensor in report.sensors):
            seen = "nothing could be checked"
        elif not report.runs:
            seen = "nobody runs in it"
        elif len(report.runs) == 1:
            seen = f"1 run seen, {report.runs[0].start_s:.1f} to {report.runs[0].end_s:.1f} s"
        else:
            seen = f"{len(report.runs)} runs seen"
        line = Text.assemble((self.name, "bold"), f" ({clean(report.athlete)}), {seen}: ")
        return line.append(report.verdict, style=f"bold {_STYLES[report.verdict]}")

    def reasons(self) -> Iterator[tuple[str, Reason]]:
        """Every reason and whom it concerns."""
        for reason in self.report.reasons:
            yield _ALL, reason
        for name, sensor in self.own:
            for reason in sensor.reasons:
                yield name, reason


def _site(site: str) -> str:
    return site.replace("_", " ")


_Rows = Sequence[tuple[str, SensorCheck]]


def _width(rows: _Rows, column: Column) -> int:
    cells = [column.heading, column.unit, *(column.cell(sensor) for _, sensor in rows)]
    return max(map(cell_len, cells))


def _fitting(console: Console, rows: _Rows, running: bool) -> tuple[list[Column], list[Column]]:
    """The columns that say something and have room, the important ones first; and the others."""
    able = [c for c in COLUMNS if any(c.cell(sensor) != MISSING for _, sensor in rows)]
    first = max([len("sensor"), *(cell_len(name) for name, _ in rows)]) + 1
    first += max(len(_WORDS[sensor.verdict]) for _, sensor in rows) + 1
    kept = list(able)
    while kept and first + sum(_width(rows, c) + 1 for c in kept) - 1 > console.width:
        kept.remove(max(kept, key=lambda c: c.rank if running else c.rank_still))
    return kept, [c for c in able if c not in kept]


def _print_figures(console: Console, own: _Rows, columns: Sequence[Column], rows: _Rows) -> None:
    """The figures of some sensors; columns as wide as those of all ``rows`` need."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("\nsensor", min_width=max(cell_len(name) for name, _ in rows), no_wrap=True)
    most = max(len(_WORDS[sensor.verdict]) for _, sensor in rows)
    table.add_column("", min_width=most, no_wrap=True)
    for column in columns:
        heading = f"{column.heading}\n{column.unit}"
        width = _width(rows, column)
        table.add_column(heading, justify="right", min_width=width, no_wrap=True)
    for name, sensor in own:
        word = Text(_WORDS[sensor.verdict], style=_STYLES[sensor.verdict])
        cells = (Text(column.cell(sensor)) for column in columns)
        table.add_row(Text(name), word, *cells)
    console.print(table)


def _print_matrix(console: Console, shown: Sequence[_Shown]) -> None:
    """A line for each recording, a word for each sensor."""
    sites = [site for site in SITES if any(site in _places(one) for one in shown)]
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for heading in ("\nrun", "\nathlete", *(_site(site).replace(" ", "\n") for site in sites)):
        table.add_column(heading, no_wrap=True)
    for one in shown:
        places = _places(one)
        words = [
            Text(_WORDS[places[site]], style=_STYLES[places[site]]) if site in places else Text("")
            for site in sites
        ]
        table.add_row(Text(one.name), Text(clean(one.report.athlete)), *words)
    console.print(table)
    console.print()


def _places(one: _Shown) -> dict[str, Verdict]:
    """Verdict by site."""
    return {sensor.site: sensor.verdict for _, sensor in one.rows}


def _print_legend(console: Console, columns: Sequence[Column], left_out: Sequence[Column]) -> None:
    if not columns:
        return
    grid = Table.grid(padding=(0, 1, 0, 0))
    for column in columns:
        if column.meaning:
            unit = f" {column.unit}" if column.heading == "noise" else ""
            grid.add_row(Text(f"{column.heading}{unit}", style="bold"), Text(column.meaning))
    console.print(grid)
    if left_out:
        names = ", ".join(f"{c.heading} {c.unit}" for c in left_out)
        console.print(Text(f"Not shown, the terminal is too narrow: {names}. --json has all."))
    console.print()


def _print_reasons(console: Console, shown: Sequence[_Shown], brief: bool) -> None:
    """Every reason once, with all whom it concerns; the worst first. Brief: without notes."""
    groups: dict[tuple[str, str], list[tuple[str, str, Reason]]] = {}
    for one in shown:
        for name, reason in one.reasons():
            alike = _NUMBER.sub("#", reason.text)[:_ALIKE]
            groups.setdefault((reason.severity, reason.flag_name + alike), []).append(
                (one.name, name, reason)
            )
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    sensors = {one.name: len(one.rows) for one in shown}
    for severity, (word, style) in _HEADS.items():
        for (own, _), members in groups.items():
            if own == severity and (severity != "note" or not brief):
                grid.add_row(Text(word, style=style), _told(members, sensors))
    if brief and any(own == "note" for own, _ in groups):
        grid.add_row("note", "There are remarks of less weight; --json or --run ID has them.")
    if grid.row_count:
        console.print(grid)
        console.print()


def _told(members: Sequence[tuple[str, str, Reason]], sensors: Mapping[str, int]) -> Text:
    """Whom a reason concerns, what it is, and what to do."""
    by_run: dict[str, list[str]] = {}
    for run, name, _ in members:
        by_run.setdefault(run, []).append(name)
    whom = {
        run: _ALL if len(names) == sensors[run] > 1 else ", ".join(names)
        for run, names in by_run.items()
    }
    several = len(sensors) > 1
    who = "; ".join(
        names if not several or names == run else f"{names} of {run}" for run, names in whom.items()
    )
    reason = max((one for _, _, one in members), key=lambda one: one.samples)
    words = Text.assemble((who, "bold"), ": ", clean(reason.text))
    if len({other.text for _, _, other in members}) > 1:
        which = "worst" if reason.samples else "first"
        words.append(f" (Numbers of the {which} one.)", style="dim")
    if reason.advice:
        words.append(f" {clean(reason.advice)}")
    if reason.flag:
        words.append(f" [{reason.flag.name}]", style="dim")
    return words


def _closing(shown: Sequence[_Shown]) -> Text:
    """How many sensors are fit, and the verdict on all."""
    verdicts = [verdict for one in shown for verdict in _places(one).values()]
    counts = {word: verdicts.count(word) for word in _STYLES}
    told = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    overall = worst([one.report.verdict for one in shown])
    line = Text(f"{plural(len(verdicts), 'log')}: {told}. Overall: ")
    return line.append(overall, style=f"bold {_STYLES[overall]}").append(".")
