"""The check of sensors in a terminal: a verdict in words, figures, and what to do."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from rich.console import Console
from rich.text import Text

from imuproc.checks.findings import (
    CheckReport,
    Reason,
    Verdict,
    find_worst_verdict,
)
from imuproc.core.flag_policy import Severity
from imuproc.core.sites import SITES, Site
from imuproc.core.words import format_count
from imuproc.files.text import clean_text
from imuproc.report.check.columns import ShownSensor, figure_columns
from imuproc.report.terminal_table import Column, TerminalTable, print_terms

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
_ELSEWHERE: Final = "--json has all."
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
    brief = len(reports) > _MOST_IN_FULL and not all(one.alone for one in shown)
    if brief:
        _print_matrix(console, shown)
    else:
        _print_figures(console, shown)
    _print_reasons(console, shown, brief)
    console.print(_say_closing(shown))


class _Shown:
    """One recording as it is shown; a log that no session file names stands alone."""

    def __init__(self, report: CheckReport) -> None:
        self.report = report
        self.alone = not report.athlete
        self.name = clean_text(report.run)
        names = [self.name if self.alone else _format_site(s.site) for s in report.sensors]
        self.own = list(zip(names, report.sensors, strict=True))
        # What concerns all sensors is each one's in its verdict.
        common = report.reasons
        self.rows = [ShownSensor(n, replace(s, reasons=(*s.reasons, *common))) for n, s in self.own]
        self.places = {row.check.site: row.check.verdict for row in self.rows}

    def make_header(self) -> Text:
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
        line = Text.assemble((self.name, "bold"), f" ({clean_text(report.athlete)}), {seen}: ")
        return line.append(report.verdict, style=f"bold {_STYLES[report.verdict]}")

    def list_reasons(self) -> Iterator[tuple[str, Reason]]:
        """Every reason and whom it concerns."""
        for reason in self.report.reasons:
            yield _ALL, reason
        for name, sensor in self.own:
            for reason in sensor.reasons:
                yield name, reason


def _format_site(site: str) -> str:
    return site.replace("_", " ")


def _format_verdict(sensor: ShownSensor) -> Text:
    return _choose_word(sensor.check.verdict)


def _choose_word(verdict: Verdict) -> Text:
    return Text(_WORDS[verdict], style=_STYLES[verdict])


def _print_figures(console: Console, shown: Sequence[_Shown]) -> None:
    """The figures of every sensor, recording by recording, and what they mean."""
    rows = [row for one in shown for row in one.rows]
    figures = figure_columns(rows, any(one.report.runs for one in shown))
    name = Column[ShownSensor]("sensor", "", lambda sensor: sensor.name, words=True)
    verdict = Column("", "", _format_verdict, words=True)
    table = TerminalTable(console, (name, verdict, *figures), rows)
    for one in shown:
        if not one.alone:
            console.print(one.make_header())
            table.print(one.rows)
            console.print()
    alone = [row for one in shown if one.alone for row in one.rows]
    if alone:
        table.print(alone)
        console.print()
    terms = [
        (f"{c.heading} {c.unit}" if c.heading == "noise" else c.heading, c.meaning)
        for c in table.columns
        if c.meaning
    ]
    print_terms(console, terms)
    table.print_dropped(_ELSEWHERE)
    if terms:
        console.print()


def _print_matrix(console: Console, shown: Sequence[_Shown]) -> None:
    """A line for each recording, a word for each sensor."""
    columns: list[Column[_Shown]] = [
        Column("run", "", lambda one: one.name, words=True),
        Column("athlete", "", lambda one: clean_text(one.report.athlete), 1, words=True),
    ]
    for site in SITES:
        if any(site in one.places for one in shown):
            columns.append(Column(*_two_lines(site), partial(_format_place, site), words=True))
    table = TerminalTable(console, columns, shown)
    table.print(shown)
    table.print_dropped(_ELSEWHERE)
    console.print()


def _two_lines(site: str) -> tuple[str, str]:
    side, _, segment = site.rpartition("_")
    return side, segment


def _format_place(site: Site, one: _Shown) -> Text:
    return _choose_word(one.places[site]) if site in one.places else Text("")


def _print_reasons(console: Console, shown: Sequence[_Shown], brief: bool) -> None:
    """Every reason once, with all whom it concerns; the worst first. Brief: without notes."""
    groups: dict[tuple[str, str], list[tuple[str, str, Reason]]] = {}
    for one in shown:
        for name, reason in one.list_reasons():
            alike = _NUMBER.sub("#", reason.text)[:_ALIKE]
            groups.setdefault((reason.severity, reason.flag_name + alike), []).append(
                (one.name, name, reason)
            )
    sensors = {one.name: len(one.rows) for one in shown}
    told = [
        (Text(word, style=style), _format_reason(members, sensors))
        for severity, (word, style) in _HEADS.items()
        for (own, _), members in groups.items()
        if own == severity and (severity != "note" or not brief)
    ]
    if brief and any(own == "note" for own, _ in groups):
        less = "There are remarks of less weight; --json or --run ID has them."
        told.append((Text("note"), Text(less)))
    if told:
        print_terms(console, told)
        console.print()


def _format_reason(members: Sequence[tuple[str, str, Reason]], sensors: Mapping[str, int]) -> Text:
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
    words = Text.assemble((who, "bold"), ": ", clean_text(reason.text))
    if len({other.text for _, _, other in members}) > 1:
        which = "worst" if reason.samples else "first"
        words.append(f" (Numbers of the {which} one.)", style="dim")
    if reason.advice:
        words.append(f" {clean_text(reason.advice)}")
    if reason.flag:
        words.append(f" [{reason.flag.name}]", style="dim")
    return words


def _say_closing(shown: Sequence[_Shown]) -> Text:
    """How many sensors are fit, and the verdict on all."""
    verdicts = [verdict for one in shown for verdict in one.places.values()]
    counts = {word: verdicts.count(word) for word in _STYLES}
    told = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    overall = find_worst_verdict([one.report.verdict for one in shown])
    line = Text(f"{format_count(len(verdicts), 'log')}: {told}. Overall: ")
    return line.append(overall, style=f"bold {_STYLES[overall]}").append(".")
