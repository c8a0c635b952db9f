"""A squad's runs in a terminal: one line a run, readable at 80 columns and without colour."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from math import nan
from textwrap import wrap
from typing import Final

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from imuproc.core.columns import uncertainty_name
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious, is_told
from imuproc.core.words import format_count
from imuproc.files.text import MISSING, clean_text, format_fixed
from imuproc.report.terminal_figures import FIGURES
from imuproc.report.terminal_table import Column, TerminalTable, print_terms
from imuproc.results.columns import difference_name, mean_name
from imuproc.results.squad import SquadRun
from imuproc.results.summary import RunSummary

_MEANS: Final = {
    "contact_time_s": 1,
    "step_frequency_hz": 5,
    "step_length_m": 6,
    "shin_angle_touchdown_deg": 2,
    "dorsiflexion_swing_mean_deg": 3,
}
"""Figures whose means are shown; the largest rank is left out first in a narrow terminal."""

HEADINGS: Final[Mapping[str, str]] = {
    "speed": "top_speed_mps",
    **{FIGURES[name].heading.removesuffix("."): mean_name(name) for name in _MEANS},
}
"""Headings by which runs can be sorted, and the columns of the run table behind them."""

_ID_CELLS: Final = 20
_TIED: Final = "\xa0"
"""A space at which a line is not broken; printed as a plain one."""

_HEAD_AGAIN: Final = 25
"""Runs after which the headings stand once more: they have scrolled away."""


def _get_value(run: SquadRun, column: str) -> float:
    return run.summary.figures.get(column, nan)


def _make_mean_column(name: str, rank: int) -> Column[SquadRun]:
    """Column of the means of a figure."""
    figure = FIGURES[name]
    return Column(
        figure.heading,
        figure.unit,
        lambda run: figure.format_number(_get_value(run, mean_name(name))),
        rank,
    )


def _format_speed(run: SquadRun) -> str:
    return format_fixed(_get_value(run, "top_speed_mps"), 2, MISSING)


def _speed_u(run: SquadRun) -> str:
    cell = format_fixed(max(_get_value(run, "top_speed_mps_u"), 0.01), 2)
    return f"±{cell}" if cell else MISSING


def _format_mark(run: SquadRun) -> str:
    words = [word for word, holds in (("best", run.best), ("last", run.last)) if holds]
    return "" if run.only else " ".join(words)


def _format_flags(run: SquadRun) -> str:
    names = run.summary.fault_names()
    return f"{len(names)}{'!' if any(map(is_serious, names)) else ' '}"


def _format_distance(run: SquadRun) -> str:
    return MISSING if run.summary.distance_m is None else f"{run.summary.distance_m:g}"


def _shorten_id(text: str) -> str:
    """An id, its beginning left out where it is long: ids of runs differ at the end."""
    cleaned = clean_text(text)
    return cleaned if cell_len(cleaned) <= _ID_CELLS else f"…{cleaned[1 - _ID_CELLS :]}"


_ATHLETE: Final[Column[SquadRun]] = Column(
    "athlete", "", lambda run: _shorten_id(run.summary.athlete), words=True
)
_COLUMNS: Final[tuple[Column[SquadRun], ...]] = (
    Column("run", "", lambda run: _shorten_id(run.summary.run), words=True),
    Column("", "", _format_mark, words=True),
    Column("start", "", lambda run: clean_text(run.summary.start), 9, words=True),
    Column("dist.", "m", _format_distance, 8),
    Column("steps", "", lambda run: str(run.summary.counts.get("steps", 0)), 4),
    Column("speed", "m/s", _format_speed, 1),
    Column("", "", _speed_u, 7),
    *(_make_mean_column(name, rank) for name, rank in _MEANS.items()),
    Column("flags", "", _format_flags, 1),
)

_LEFT_RIGHT: Final = "L minus R"

LEGEND: Final = (
    ("speed", "top speed: highest mean over four steps; ± standard uncertainty"),
    ("best, last", "the athlete's run of highest top speed; last in the session file"),
    ("shin", "angle at touchdown: 90 as in standing, below 90 knee ahead of ankle"),
    ("dorsifl.", "dorsiflexion, mean of the last 40 % of the swing: toe up positive"),
    (
        _LEFT_RIGHT,
        "left minus right where it is more than twice its uncertainty",
    ),
    ("flags", "how many different ones; ! figures may be wrong or are not given"),
    (MISSING, "missing"),
)
"""What stands once under the runs."""


def print_squad(
    console: Console, runs: Sequence[SquadRun], phase: str | None, is_sorted: bool
) -> None:
    """Print the runs of a squad.

    Parameters
    ----------
    console : rich.console.Console
    runs : sequence of SquadRun
    phase : str or None
        Phase that counts and figures are over.
    is_sorted : bool
        Whether the runs are in an order of their own; otherwise they stand under their athletes.
    """
    if phase:
        told = f"Steps of the phase {phase} alone; best and flags are of the whole run."
        console.print(Text(told, style="bold"))
    lines = _Lines(console, runs, is_sorted)
    if is_sorted:
        lines.print_head()
        for run in runs:
            lines.run(run)
    else:
        for athlete, of_athlete in groupby(runs, lambda run: run.summary.athlete):
            lines.print_athlete(athlete, list(of_athlete))
    console.print()
    if any(run.summary.status == "done" for run in runs):
        _print_legend(console, lines)
    _print_flags(console, runs)
    console.print(Text(_say_closing(runs)))


class _Lines:
    """The table, its headings again now and then, and what belongs to single runs below them."""

    def __init__(self, console: Console, runs: Sequence[SquadRun], is_sorted: bool) -> None:
        self._console = console
        columns = (_ATHLETE, *_COLUMNS) if is_sorted else _COLUMNS
        self.table = TerminalTable(console, columns, runs)
        self._since_head = _HEAD_AGAIN
        self.any_differing = False

    def print_head(self) -> None:
        """The headings."""
        self.table.print(())
        self._since_head = 0

    def print_athlete(self, athlete: str, runs: Sequence[SquadRun]) -> None:
        """An athlete's runs under a line that tells who it is."""
        if self._since_head >= _HEAD_AGAIN:
            self.print_head()
        else:
            self._console.print()
        group = runs[0].summary.group
        who = Text(clean_text(athlete), style="bold")
        if group:
            who.append(f", group {clean_text(group)}", style="not bold")
        self._console.print(who)
        for run in runs:
            self.run(run)

    def run(self, run: SquadRun) -> None:
        """One run: its figures or why there are none, and left against right."""
        self._since_head += 1
        if run.summary.status == "failed":
            who = [str(column.cell(run)) for column in self.table.columns if not column.rank]
            told = [*filter(None, who), "failed:", clean_text(run.summary.reason)]
            self._print_wrapped(" ".join(told), "red")
            return
        self.table.print([run], headings=False)
        differing = ", ".join(_find_differing(run.summary))
        if differing:
            self.any_differing = True
            self._print_wrapped(f"    {_LEFT_RIGHT}: {differing}", "yellow")

    def _print_wrapped(self, line: str, style: str) -> None:
        """A long line, what does not fit indented below it."""
        width = max(self._console.width, 40)
        for part in wrap(line, width, subsequent_indent=" " * 6, break_on_hyphens=False):
            self._console.print(Text(part.replace(_TIED, " "), style=style))


def _find_differing(summary: RunSummary) -> Iterator[str]:
    sure = summary.surely_differ()
    for name, figure in FIGURES.items():
        if name not in sure:
            continue
        column = difference_name(name)
        value = summary.figures[column] * figure.factor
        u = summary.figures[uncertainty_name(column)] * figure.factor
        told = f"{figure.heading} {value:+.{figure.decimals}f}"
        least = 10.0**-figure.decimals  # ±0 would claim a certainty that is not there
        told += f" ±{format_fixed(max(u, least), figure.decimals)} {figure.unit}"
        yield told.replace(" ", _TIED)


def _print_legend(console: Console, lines: _Lines) -> None:
    hidden = {*lines.table.dropped, *([] if lines.any_differing else [_LEFT_RIGHT])}
    print_terms(console, (pair for pair in LEGEND if pair[0] not in hidden))
    lines.table.print_dropped("--json has all.")
    console.print()


def _print_flags(console: Console, runs: Sequence[SquadRun]) -> None:
    names = (name for run in runs for name in run.summary.flag_names())
    counts = Counter(name for name in names if is_told(name, "terminal"))
    if not counts:
        return
    told = []
    for name, count in counts.most_common():
        flag = FLAGS.get(name)
        words = Text.assemble((clean_text(name), "bold red" if is_serious(name) else "bold"))
        if flag:
            words.append(f"{'!' if is_serious(name) else ''}: {flag.sentence}")
        told.append((Text(format_count(count, "run")), words))
    print_terms(console, told, numbers=True)
    console.print()


def _say_closing(runs: Sequence[SquadRun]) -> str:
    failed = sum(run.summary.status == "failed" for run in runs)
    athletes = len({run.summary.athlete for run in runs})
    of = f"{format_count(len(runs), 'run')} of {format_count(athletes, 'athlete')}"
    line = f"{of}: {len(runs) - failed} done"
    return f"{line}, {failed} failed." if failed else f"{line}."
