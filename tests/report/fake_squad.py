"""A squad's results as ``imuproc process`` leaves them, made by hand."""

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from imuproc.core.columns import STEP_COLUMNS
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.results.columns import PHASE_COLUMNS, RUN_COLUMNS
from imuproc.results.summarising import Measured, summarise_run
from imuproc.results.summary import RunSummary, make_failed_run
from imuproc.results.tables import (
    PHASES_PARQUET,
    RUNS_CSV,
    STEPS_PARQUET,
    build_phases_table,
    build_runs_table,
    join_steps,
    write_csv,
    write_parquet,
)
from tests.report.fake_result import fake_parts, fake_steps

SESSION = "harbour-2031-04-12"
REASON = "logs/R08-02_lf.csv: found no column 'gx'; allowed: the columns of layout field-logger"


def sprint(athlete: str, run: str, top_mps: float, left_longer_s: float = 0.0) -> pd.DataFrame:
    """A run of 16 steps at up to ``top_mps``, contacts of the left foot longer than the right's."""
    steps = fake_steps(16, run)
    steps["athlete"] = athlete
    steps["phase"] = ["drive"] * 6 + ["transition"] * 2 + ["upright"] * 8
    speed = top_mps * (1.0 - np.exp(-np.arange(1.0, 17.0) / 2.0))
    steps["speed_mps"] = speed
    steps["step_length_m"] = speed * steps["step_time_s"]
    steps[["speed_mps_u", "speed_mps_u_repeat"]] = 0.12
    steps[["step_length_m_u", "step_length_m_u_repeat"]] = 0.03
    steps["contact_time_s"] += np.where(steps["side"] == "left", 0.5, -0.5) * left_longer_s
    return steps


def squad_runs_by_hand() -> list[tuple[RunSummary, pd.DataFrame | None]]:
    """R07 (group sprint): a slow, a fast, a medium run. R08: a run, one that failed. R09: one."""
    return [(summary, None if steps is None else steps.copy()) for summary, steps in _made_once()]


@cache
def _made_once() -> tuple[tuple[RunSummary, pd.DataFrame | None], ...]:
    made: list[tuple[RunSummary, pd.DataFrame | None]] = []
    for athlete, run, top_mps, left_longer_s in (
        (Athlete("R07", group="sprint"), "R07-01", 8.9, 0.0),
        (Athlete("R07", group="sprint"), "R07-02", 9.6, 0.018),
        (Athlete("R07", group="sprint"), "R07-03", 9.2, 0.0),
        (Athlete("R08"), "R08-01", 8.1, 0.0),
        (Athlete("R08"), "R08-02", 0.0, 0.0),
        (Athlete("R09", group="jumps"), "R09-01", 8.5, 0.0),
    ):
        about = Run(run, "three-point", 30.0)
        if not top_mps:
            made.append((make_failed_run(SESSION, athlete, about, REASON), None))
            continue
        steps = sprint(athlete.id, run, top_mps, left_longer_s)
        flags = (RaisedFlag("gap"), RaisedFlag("drift_large")) if run == "R07-03" else ()
        measured = Measured(steps, flags, uncertainty=fake_parts(steps))
        made.append((summarise_run(SESSION, athlete, about, measured), steps))
    return tuple(made)


def write_squad(folder: Path) -> Path:
    """Write the tables of :func:`squad_runs_by_hand`; returns the folder."""
    folder.mkdir()
    for name, content in _written_once().items():
        (folder / name).write_bytes(content)
    return folder


@cache
def _written_once() -> Mapping[str, bytes]:
    made = squad_runs_by_hand()
    with TemporaryDirectory() as folder:
        summaries = [summary for summary, _ in made]
        write_csv(Path(folder, RUNS_CSV), build_runs_table(summaries), RUN_COLUMNS)
        phases = build_phases_table(summaries)
        write_parquet(Path(folder, PHASES_PARQUET), phases, PHASE_COLUMNS)
        steps = join_steps([table for _, table in made if table is not None])
        write_parquet(Path(folder, STEPS_PARQUET), steps, STEP_COLUMNS)
        names = (RUNS_CSV, STEPS_PARQUET, PHASES_PARQUET)
        return {name: Path(folder, name).read_bytes() for name in names}
