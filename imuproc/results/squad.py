"""A squad's runs side by side: which are best and last, which to show, in which order."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from imuproc.core.errors import SessionError
from imuproc.results.columns import RUN_COLUMNS
from imuproc.results.means import list_mean_columns
from imuproc.results.squad_tables import SquadTables
from imuproc.results.summarising import summarise_steps
from imuproc.results.summary import RunSummary


@dataclass(frozen=True)
class SquadRun:
    """One run of a squad.

    Parameters
    ----------
    summary : RunSummary
        Of the effort, or of one phase of it.
    best : bool
        Whether it has the highest top speed of the athlete's runs, whatever phase is shown.
    last : bool
        Whether it is the athlete's last in the order of the session file.
    only : bool
        Whether the athlete has no other.
    """

    summary: RunSummary
    best: bool
    last: bool
    only: bool


def list_squad_runs(tables: SquadTables, phase: str | None = None) -> list[SquadRun]:
    """Runs of a squad, each athlete's best and last among them marked.

    Parameters
    ----------
    tables : SquadTables
    phase : str, optional
        ``drive``, ``transition`` or ``upright``: counts and figures are of its steps alone.

    Returns
    -------
    list of SquadRun
        In the order of the session file. No run of an athlete is best where none has a top speed.
    """
    of_athlete: dict[str, list[RunSummary]] = {}
    for run in tables.runs:
        of_athlete.setdefault(run.athlete, []).append(run)
    best = {athlete: _find_fastest(runs) for athlete, runs in of_athlete.items()}
    return [
        SquadRun(
            summary=_restrict_to_phase(run, tables, phase) if phase else run,
            best=run is best[run.athlete],
            last=run is of_athlete[run.athlete][-1],
            only=len(of_athlete[run.athlete]) == 1,
        )
        for run in tables.runs
    ]


def _find_fastest(runs: Sequence[RunSummary]) -> RunSummary | None:
    timed = [run for run in runs if run.value("top_speed_mps") is not None]
    return max(timed, key=lambda run: run.figures["top_speed_mps"], default=None)


def _restrict_to_phase(run: RunSummary, tables: SquadTables, phase: str) -> RunSummary:
    if run.status == "failed":
        return run
    steps = tables.steps[run.run]
    counts, figures = summarise_steps(steps[steps["phase"] == phase])
    for row in run.phases:
        if row.phase == phase:
            figures |= list_mean_columns(row.means)[1]
    return replace(run, counts=counts, figures=figures)


def select_athletes(runs: Sequence[SquadRun], wanted: Sequence[str]) -> list[SquadRun]:
    """The runs of some athletes, all where none are named; upper and lower case are alike.

    Raises
    ------
    SessionError
        There is no run of an athlete.
    """
    known = dict.fromkeys(run.summary.athlete for run in runs)
    _require_known("athlete", wanted, list(known))
    folded = {athlete.casefold() for athlete in wanted}
    return [run for run in runs if not folded or run.summary.athlete.casefold() in folded]


def select_group(runs: Sequence[SquadRun], wanted: str | None) -> list[SquadRun]:
    """The runs of a group's athletes, all where none is named; upper and lower case are alike.

    Raises
    ------
    SessionError
        There is no run of such a group.
    """
    if wanted is None:
        return list(runs)
    known = dict.fromkeys(run.summary.group for run in runs if run.summary.group)
    _require_known("group", [wanted], list(known))
    return [run for run in runs if (run.summary.group or "").casefold() == wanted.casefold()]


def _require_known(what: str, wanted: Sequence[str], known: Sequence[str]) -> None:
    folded = {name.casefold() for name in known}
    unknown = [name for name in wanted if name.casefold() not in folded]
    if unknown:
        allowed = ", ".join(known) or f"no run has a {what} in its session file"
        raise SessionError(f"found no {what} {', '.join(unknown)}; allowed: {allowed}")


def sort_runs(
    runs: Sequence[SquadRun], column: str, descending: bool, short: Mapping[str, str]
) -> list[SquadRun]:
    """Runs in the order of a column; those without it are last either way.

    Parameters
    ----------
    runs : sequence of SquadRun
    column : str
        A column of the run table; ``flags`` goes by their number. A minus before it: from the
        largest on.
    descending : bool
        From the largest on.
    short : mapping from str to str
        Shorter names of columns that are understood too.

    Raises
    ------
    SessionError
        There is no such column.
    """
    descending = descending or column.startswith("-")
    value = _make_sort_key(column.removeprefix("-"), short)
    keyed = [(value(run.summary), run) for run in runs]
    there = sorted(
        ((key, run) for key, run in keyed if key is not None),
        key=lambda pair: pair[0],
        reverse=descending,
    )
    return [run for _, run in there] + [run for key, run in keyed if key is None]


def _make_sort_key(
    column: str, short: Mapping[str, str]
) -> Callable[[RunSummary], tuple[float, str] | None]:
    name = short.get(column.removesuffix("."), column)  # some headings end with a point
    if name not in RUN_COLUMNS:
        raise SessionError(
            f"found no column {column!r} to sort by; allowed: {', '.join(short)}, flags, or a "
            "column of runs.csv such as athlete, run, steps, left_minus_right_contact_time_s"
        )

    def read_key(run: RunSummary) -> tuple[float, str] | None:
        found = len(run.fault_names()) if name == "flags" else run.value(name)
        if found is None or (name == "flags" and run.status == "failed"):
            return None
        return (0.0, found.casefold()) if isinstance(found, str) else (float(found), "")

    return read_key
