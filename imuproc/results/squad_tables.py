"""Results of a squad read back: the tables of an output folder, or its archive."""

import csv
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from imuproc.core.columns import repeat_name, step_table_columns, uncertainty_name
from imuproc.core.errors import ArchiveError, SessionError
from imuproc.core.flags import RaisedFlag
from imuproc.files.text import unescape_formula
from imuproc.results.archive.reading import open_archive
from imuproc.results.columns import KEY_FIGURES, RUN_COLUMNS, count_name, mean_name, sd_name
from imuproc.results.folder import SESSION_ARCHIVE
from imuproc.results.means import Mean
from imuproc.results.summarising import sum_up, summarise_archived
from imuproc.results.summary import PhaseSummary, RunSummary
from imuproc.results.tables import DECIMALS, PHASES_PARQUET, RUNS_CSV, STEPS_PARQUET

_AGAIN: Final = "run the same `imuproc process` again"
_NEEDED: Final = ("session", "athlete", "run", "start", "distance_m", "status", "flags", "reason")


@dataclass(frozen=True, eq=False)
class SquadTables:
    """What a squad's runs have given.

    Parameters
    ----------
    runs : tuple of RunSummary
        In the order of the session file, failed ones among them.
    steps : mapping from str to DataFrame
        Step table of each run that was processed.
    source : str
        Name of the file or folder that they were read from.
    notes : tuple of str
        What a reader has to know about where they come from.
    """

    runs: tuple[RunSummary, ...]
    steps: Mapping[str, pd.DataFrame]
    source: str
    notes: tuple[str, ...] = ()


def read_squad(path: Path) -> SquadTables:
    """Read what ``imuproc process`` has left in a folder, or an archive of it.

    Parameters
    ----------
    path : Path
        Output folder: ``runs.csv``, ``steps.parquet`` and ``phases.parquet`` are read (the last
        one where it is there: former versions wrote none); where they are not whole,
        ``session.h5``. Or a ``session.h5``.

    Returns
    -------
    SquadTables

    Raises
    ------
    SessionError
        There is nothing of the kind, or nothing whole; the text says what and what to do.
    ArchiveError
        The archive named is damaged.
    """
    if os.path.isfile(path):
        return _read_archive(path)
    if not os.path.isdir(path):
        raise SessionError(
            f"{path}: found nothing there; allowed: the output folder of `imuproc process`, or a "
            f"{SESSION_ARCHIVE}"
        )
    if not os.access(path, os.R_OK | os.X_OK):
        raise SessionError(f"{path}: cannot be read, this user has no right to; ask who owns it")
    names = (RUNS_CSV, STEPS_PARQUET, SESSION_ARCHIVE)
    if not any(os.path.isfile(path / name) for name in names):
        raise SessionError(
            f"{path}: is no output folder of `imuproc process`, or its tables are not written "
            f"yet; found none of {', '.join(names)}"
        )
    return _read_folder(path)


def _read_folder(folder: Path) -> SquadTables:
    try:
        return _read_tables(folder)
    except SessionError as error:
        why = str(error)
    if not os.path.isfile(folder / SESSION_ARCHIVE):
        raise SessionError(f"{why}; {_AGAIN}")
    try:
        tables = _read_archive(folder / SESSION_ARCHIVE)
    except ArchiveError as error:
        raise SessionError(f"{why}\n{error}") from error
    note = f"{why}; shown is what {SESSION_ARCHIVE} holds, which has no runs that failed; {_AGAIN}"
    return SquadTables(tables.runs, tables.steps, tables.source, (note,))


def _read_tables(folder: Path) -> SquadTables:
    steps = _read_steps(folder / STEPS_PARQUET)
    of_run = dict(iter(steps.groupby("run", sort=False)))
    none = steps.iloc[:0]
    phases = _read_phases(folder / PHASES_PARQUET)
    runs = [
        _summarise_row(
            row,
            of_run.get(row["run"], none),
            phases.get(row["run"], ()),
            f"{folder / RUNS_CSV} line {line}",
        )
        for line, row in _read_runs(folder / RUNS_CSV)
    ]
    done = [run.run for run in runs if run.status == "done"]
    if len(set(done)) != len(done) or not set(of_run) <= set(done):
        raise SessionError(f"{folder}: {RUNS_CSV} and {STEPS_PARQUET} are not of the same runs")
    tables = {run: of_run.get(run, none) for run in done}
    return SquadTables(tuple(runs), tables, str(folder))


def _read_steps(path: Path) -> pd.DataFrame:
    return _complete_columns(_read_parquet(path), path)


def _read_parquet(path: Path) -> pd.DataFrame:
    try:
        table: pd.DataFrame = pq.read_table(path, page_checksum_verification=True).to_pandas()
    except FileNotFoundError as error:
        raise SessionError(f"{path}: is missing") from error
    except (OSError, pa.ArrowException) as error:
        raise SessionError(f"{path}: cannot be read or is not whole ({error})") from error
    return table


def _read_phases(path: Path) -> dict[str, tuple[PhaseSummary, ...]]:
    """Rows of the phase table by run; none where a former version has written no such table."""
    out: dict[str, tuple[PhaseSummary, ...]] = {}
    for row in _read_parquet(path).to_dict("records") if path.is_file() else ():
        try:
            means = {figure: _read_mean(row, figure) for figure in KEY_FIGURES}
            phase = PhaseSummary(str(row["phase"]), int(row["steps"]), means)
            out[row["run"]] = (*out.get(row["run"], ()), phase)
        except KeyError as error:
            raise SessionError(f"{path}: has no column {error}; is it a phase table?") from error
    return out


def _read_mean(row: Mapping[Any, Any], figure: str) -> Mean:
    mean = mean_name(figure)
    names = (mean, sd_name(figure), uncertainty_name(mean), repeat_name(mean))
    return Mean(int(row[count_name(figure)]), *(float(row[name]) for name in names))


def _complete_columns(steps: pd.DataFrame, path: object) -> pd.DataFrame:
    """The step table with the columns that a former version did not have, empty."""
    keys = [name for name in ("run", "step", "side", "phase", "flags") if name not in steps]
    if keys:
        raise SessionError(f"{path}: has no column {', '.join(keys)}; is it a step table?")
    return steps.reindex(columns=step_table_columns())


def _read_runs(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Line number and cells of each row of the run table."""
    try:
        with path.open(encoding="utf-8", newline="") as file:
            header, *rows = list(csv.reader(file, strict=True)) or [[]]
    except FileNotFoundError as error:
        raise SessionError(f"{path}: is missing") from error
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise SessionError(f"{path}: cannot be read or is not whole ({error})") from error
    lacking = [name for name in _NEEDED if name not in header]
    if lacking:
        raise SessionError(f"{path}: has no column {', '.join(lacking)}; is it a run table?")
    for line, row in enumerate(rows, start=2):
        if len(row) != len(header):
            raise SessionError(
                f"{path} line {line}: found {len(row)} cells, {len(header)} were written: it is "
                "not whole"
            )
    return [(n, dict(zip(header, row, strict=True))) for n, row in enumerate(rows, start=2)]


_OF_PARTS: Final = (
    "distance_covered_m",
    "distance_covered_m_u",
    *(name(mean_name(f)) for f in KEY_FIGURES for name in (uncertainty_name, repeat_name)),
)
"""Columns of the run table that the step table does not tell."""


def _summarise_row(
    row: Mapping[str, str], steps: pd.DataFrame, phases: tuple[PhaseSummary, ...], where: str
) -> RunSummary:
    status = row["status"]
    flags = tuple(RaisedFlag(name) for name in row["flags"].split(";") if name)
    known: dict[str, Any] = {
        "session": row["session"],
        "athlete": row["athlete"],
        "run": row["run"],
        "start": row["start"],
        "start_time": row.get("start_time", ""),
        "distance_m": _parse_number(row, "distance_m", where),
        "reason": unescape_formula(row["reason"]),
        "flags": flags,
        "group": unescape_formula(row.get("group", "")) or None,
    }
    if status == "failed":
        return RunSummary(**known, status="failed")
    if status != "done":
        raise SessionError(f"{where}: found status {status!r}; allowed: done, failed")
    counts, figures = sum_up(steps)
    _require_same_steps(row, counts, figures, where)
    _require_same_phases(phases, steps, where)
    for name in _OF_PARTS:
        told = _parse_number(row, name, where)
        figures[name] = math.nan if told is None else told
    return RunSummary(**known, status="done", counts=counts, figures=figures, phases=phases)


def _require_same_steps(
    row: Mapping[str, str],
    counts: Mapping[str, int],
    figures: Mapping[str, float],
    where: str,
) -> None:
    """The run table must be of these steps, or one of the two is of another process."""
    expected = {"steps": float(counts["steps"])}
    expected |= {mean_name(name): figures[mean_name(name)] for name in KEY_FIGURES}
    for name, of_steps in expected.items():
        if name not in row:
            continue
        told = _parse_number(row, name, where)
        decimals = DECIMALS.get(RUN_COLUMNS[name].unit, 0)
        if told is None and math.isnan(of_steps):
            continue
        if told is None or not abs(told - of_steps) <= 0.6 * 10.0**-decimals:
            raise SessionError(
                f"{where}: {name} does not go with the steps in {STEPS_PARQUET}: the two files "
                "are not of the same process"
            )


def _require_same_phases(phases: tuple[PhaseSummary, ...], steps: pd.DataFrame, where: str) -> None:
    """The phase table, where there is one, must be of these steps too."""
    found = steps["phase"].value_counts().to_dict()
    if phases and {phase.phase: phase.steps for phase in phases} != found:
        raise SessionError(
            f"{where}: its phases in {PHASES_PARQUET} do not go with the steps in "
            f"{STEPS_PARQUET}: the two files are not of the same process"
        )


def _parse_number(row: Mapping[str, str], name: str, where: str) -> float | None:
    text = row.get(name, "")
    if not text:
        return None
    try:
        return float(text)
    except ValueError as error:
        raise SessionError(f"{where}: found {text!r} as {name}; allowed: a number") from error


def _read_archive(path: Path) -> SquadTables:
    runs: list[RunSummary] = []
    tables: dict[str, pd.DataFrame] = {}
    with open_archive(path) as archive:
        for run_id in archive.runs:
            run = archive.run(run_id)
            if run.status == "done":
                tables[run_id] = _complete_columns(run.steps, path)
            runs.append(summarise_archived(run, tables.get(run_id)))
    return SquadTables(tuple(runs), tables, path.name)
