"""A squad's runs in a terminal: one line a run, readable at 80 columns and without colour."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from textwrap import wrap
from typing import Final

from rich.cells import cell_len, set_cell_size
from rich.console import Console
from rich.table import Table
from rich.text import Text

from imuproc.core.columns import uncertainty_name
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious, is_told
from imuproc.core.words import plural
from imuproc.files.text import MISSING, clean, fixed
from imuproc.report.squad import SquadRun
from imuproc.results.summary import RunSummary, difference_name

_ID_CELLS: Final = 20
_TIED: Final = "\xa0"
"""A space at which a line is not broken; printed as a plain one."""

_HEAD_AGAIN: Final = 25
"""Runs after which the headings stand once more: they have scrolled away."""


@dataclass(frozen=True)
class _Column:
    """A column: two lines of heading, how important it is (0 always stays), and its cells."""

    heading: str
    unit: str
    rank: int
    cell: Callable[[SquadRun], str]
    words: bool = False


@dataclass(frozen=True)
class _Figure:
    """How a key figure is called and rounded in the line that tells left from right."""

    name: str
    unit: str
    factor: float
    decimals: int


_FIGURES: Final = {
    "contact_time_s": _Figure("contact", "ms", 1000.0, 0),
    "flight_time_s": _Figure("flight", "ms", 1000.0, 0),
    "step_frequency_hz": _Figure("freq.", "Hz", 1.0, 2),
    "step_length_m": _Figure("length", "m", 1.0, 2),
    "shin_angle_touchdown_deg": _Figure("shin", "deg", 1.0, 1),
    "dorsiflexion_swing_mean_deg": _Figure("dorsifl.", "deg", 1.0, 1),
}
"""Those that say something of their own: step time is frequency again, and so on."""


def _mean(column: str, factor: float, decimals: int) -> Callable[[SquadRun], str]:
    def cell(run: SquadRun) -> str:
        value = run.summary.figures.get(column, float("nan"))
        return fixed(value * factor, decimals, MISSING)

    return cell


def _speed_u(run: SquadRun) -> str:
    cell = fixed(max(run.summary.figures.get("top_speed_mps_u", float("nan")), 0.01), 2)
    return f"±{cell}" if cell else MISSING


def _mark(run: SquadRun) -> str:
    words = [word for word, holds in (("best", run.best), ("last", run.last)) if holds]
    return "" if run.only else " ".join(words)


def _flags(run: SquadRun) -> str:
    names = run.summary.fault_names()
    return f"{len(names)}{'!' if any(map(is_serious, names)) else ' '}"


def _distance(run: SquadRun) -> str:
    return MISSING if run.summary.distance_m is None else f"{run.summary.distance_m:g}"


def _id(text: str) -> str:
    """An id, its beginning left out where it is long: ids of runs differ at the end."""
    cleaned = clean(text)
    return cleaned if cell_len(cleaned) <= _ID_CELLS else f"…{cleaned[1 - _ID_CELLS :]}"


_ATHLETE: Final = _Column("athlete", "", 0, lambda run: _id(run.summary.athlete), words=True)
_COLUMNS: Final = (
    _Column("run", "", 0, lambda run: _id(run.summary.run), words=True),
    _Column("", "", 0, _mark, words=True),
    _Column("start", "", 9, lambda run: clean(run.summary.start), words=True),
    _Column("dist.", "m", 8, _distance),
    _Column("steps", "", 4, lambda run: str(run.summary.counts.get("steps", 0))),
    _Column("speed", "m/s", 1, _mean("top_speed_mps", 1.0, 2)),
    _Column("", "", 7, _speed_u),
    _Column("contact", "ms", 1, _mean("mean_contact_time_s", 1000.0, 0)),
    _Column("freq.", "Hz", 5, _mean("mean_step_frequency_hz", 1.0, 2)),
    _Column("length", "m", 6, _mean("mean_step_length_m", 1.0, 2)),
    _Column("shin", "deg", 2, _mean("mean_shin_angle_touchdown_deg", 1.0, 1)),
    _Column("dorsifl.", "deg", 3, _mean("mean_dorsiflexion_swing_mean_deg", 1.0, 1)),
    _Column("flags", "", 1, _flags),
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
    ("flags", "how many different ones; ! figures may be wrong or are withheld"),
    (MISSING, "missing or withheld"),
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
        lines.head()
        for run in runs:
            lines.run(run)
    else:
        for athlete, of_athlete in groupby(runs, lambda run: run.summary.athlete):
            lines.athlete(athlete, list(of_athlete))
    console.print()
    if any(run.summary.status == "done" for run in runs):
        _print_legend(console, lines)
    _print_flags(console, runs)
    console.print(Text(_closing(runs)))


class _Lines:
    """Lines of the table, columns as wide as their widest cell, as many as there is room for."""

    def __init__(self, console: Console, runs: Sequence[SquadRun], is_sorted: bool) -> None:
        self._console = console
        done = [run for run in runs if run.summary.status == "done"]
        asked = (_ATHLETE, *_COLUMNS) if is_sorted else _COLUMNS
        of_all = {_ATHLETE, *_COLUMNS[:2]}  # cells that runs that failed have too
        widths = [
            max(
                cell_len(text)
                for text in (c.heading, c.unit, *map(c.cell, runs if c in of_all else done))
            )
            for c in asked
        ]
        self._kept = [pair for pair in zip(asked, widths, strict=True) if pair[1]]
        self.dropped: list[str] = []
        while self._width() > console.width and max(c.rank for c, _ in self._kept):
            least = max(self._kept, key=lambda pair: pair[0].rank)
            self._kept.remove(least)
            self.dropped = [*filter(None, [least[0].heading]), *self.dropped]
        self._since_head = _HEAD_AGAIN
        self.any_differing = False

    def _width(self) -> int:
        return sum(width + 1 for _, width in self._kept) - 1

    def head(self) -> None:
        """The headings."""
        for text in ("heading", "unit"):
            cells = [(str(getattr(c, text)), c, width) for c, width in self._kept]
            self._print(Text(self._joined(cells), style="bold"))
        self._since_head = 0

    def athlete(self, athlete: str, runs: Sequence[SquadRun]) -> None:
        """An athlete's runs under a line that tells who it is."""
        if self._since_head >= _HEAD_AGAIN:
            self.head()
        else:
            self._console.print()
        group = runs[0].summary.group
        who = Text(clean(athlete), style="bold")
        if group:
            who.append(f", group {clean(group)}", style="not bold")
        self._console.print(who)
        for run in runs:
            self.run(run)

    def run(self, run: SquadRun) -> None:
        """One run: its figures or why there are none, and left against right."""
        self._since_head += 1
        if run.summary.status == "failed":
            cells = [(c.cell(run), c, w) for c, w in self._kept if c.rank == 0]
            self._long(f"{self._joined(cells)} failed: {clean(run.summary.reason)}", "red")
            return
        cells = [(c.cell(run), c, width) for c, width in self._kept]
        self._print(Text(self._joined(cells)))
        differing = ", ".join(_differing(run.summary))
        if differing:
            self.any_differing = True
            self._long(f"    {_LEFT_RIGHT}: {differing}", "yellow")

    @staticmethod
    def _joined(cells: Sequence[tuple[str, _Column, int]]) -> str:
        return " ".join(
            set_cell_size(text, width) if column.words else " " * (width - cell_len(text)) + text
            for text, column, width in cells
        )

    def _print(self, line: Text) -> None:
        line.rstrip()
        self._console.print(line, no_wrap=True, overflow="ellipsis", crop=True)

    def _long(self, line: str, style: str) -> None:
        """A long line, what does not fit indented below it."""
        width = max(self._console.width, 40)
        for part in wrap(line, width, subsequent_indent=" " * 6, break_on_hyphens=False):
            self._console.print(Text(part.replace(_TIED, " "), style=style))


def _differing(summary: RunSummary) -> Iterator[str]:
    sure = summary.surely_differ()
    for name, figure in _FIGURES.items():
        if name not in sure:
            continue
        column = difference_name(name)
        value = summary.figures[column] * figure.factor
        u = summary.figures[uncertainty_name(column)] * figure.factor
        told = f"{figure.name} {value:+.{figure.decimals}f}"
        least = 10.0**-figure.decimals  # ±0 would claim a certainty that is not there
        told += f" ±{fixed(max(u, least), figure.decimals)} {figure.unit}"
        yield told.replace(" ", _TIED)


def _print_legend(console: Console, lines: _Lines) -> None:
    left_out = [*lines.dropped, *([] if lines.any_differing else [_LEFT_RIGHT])]
    grid = Table.grid(padding=(0, 1, 0, 0))
    for term, meaning in LEGEND:
        if term not in left_out:
            grid.add_row(Text(term, style="bold"), Text(meaning))
    console.print(grid)
    if lines.dropped:
        hidden = ", ".join(lines.dropped)
        console.print(Text(f"Not shown, the terminal is too narrow: {hidden}. --json has all."))
    console.print()


def _print_flags(console: Console, runs: Sequence[SquadRun]) -> None:
    names = (name for run in runs for name in run.summary.flag_names())
    counts = Counter(name for name in names if is_told(name, "terminal"))
    if not counts:
        return
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True, justify="right")
    for name, count in counts.most_common():
        flag = FLAGS.get(name)
        words = Text(clean(name), style="bold red" if is_serious(name) else "bold")
        if flag:
            mark = "!" if is_serious(name) else ""
            words.append(f"{mark}: {flag.sentence}", style="not bold default")
        grid.add_row(plural(count, "run"), words)
    console.print(grid)
    console.print()


def _closing(runs: Sequence[SquadRun]) -> str:
    failed = sum(run.summary.status == "failed" for run in runs)
    athletes = len({run.summary.athlete for run in runs})
    line = f"{plural(len(runs), 'run')} of {plural(athletes, 'athlete')}: {len(runs) - failed} done"
    return f"{line}, {failed} failed." if failed else f"{line}."
