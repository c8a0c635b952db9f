"""A study by hand: a squad's results, and what a camera or force plates saw of its runs."""

from pathlib import Path

import numpy as np
import pandas as pd

from imuproc.core.columns import STEP_COLUMNS
from imuproc.results.tables import STEPS_CSV, write_csv
from tests.report.fake_squad import squad_runs_by_hand, write_squad

OFFSET_S = -6.0
"""The reference's clock minus the step tables'."""
LONGER_S = 0.004
"""By how much the reference's contacts are longer: all of it at toe-off."""

FRAMES = """format = "events"
kind = "video"
unit = "frame"
frame_rate_hz = 240
columns = { side = "foot", touchdown = "on", toe_off = "off" }
"""
SECONDS = """format = "events"
kind = "force plate"
unit = "s"
frame_rate_hz = 1000
threshold_n = 20
columns = { side = "foot", touchdown = "on", toe_off = "off" }
"""
INSTANT = "instant = { table_s = 10.0, reference_s = 4.0, u_s = 0.001 }"
FEW = 'figures = ["contact_time_s"]'
RUNS = ("R07-01", "R07-02", "R07-03", "R08-01", "R09-01")


def results(folder: Path) -> dict[str, pd.DataFrame]:
    """Write ``out`` as ``imuproc process`` leaves it; the step tables by run."""
    write_squad(folder / "out")
    tables = {s.run: table for s, table in squad_runs_by_hand() if table is not None}
    steps = pd.concat(tables.values(), ignore_index=True)
    write_csv(folder / "out" / STEPS_CSV, steps, STEP_COLUMNS)
    return tables


def contacts(steps: pd.DataFrame, scatter_s: float = 0.002, seed: int = 1) -> pd.DataFrame:
    """What the other method saw of the steps of one run, on its own clock."""
    rng = np.random.default_rng(seed)
    error = scatter_s * rng.standard_normal((2, len(steps)))
    return pd.DataFrame(
        {
            "foot": steps["side"],
            "on": steps["touchdown_s"] + OFFSET_S + error[0],
            "off": steps["touchdown_s"] + steps["contact_time_s"] + OFFSET_S + LONGER_S + error[1],
        }
    )


def write_reference(folder: Path, run: str, table: pd.DataFrame, rate_hz: float | None) -> None:
    """Write ``seen/<run>.csv``: frames at a rate, or seconds."""
    (folder / "seen").mkdir(exist_ok=True)
    shown = table.copy()
    for name in ("on", "off"):
        shown[name] = (table[name] * rate_hz).round().astype(int) if rate_hz else table[name]
    shown.to_csv(folder / "seen" / f"{run}.csv", index=False)


def study(
    folder: Path,
    runs: tuple[str, ...] = RUNS,
    layout: str = SECONDS,
    more: str = INSTANT,
    head: str = FEW,
) -> Path:
    """Write ``study.toml``; every run with the same further lines."""
    text = f'schema = 1\n[study]\nid = "outdoor-2031"\n{head}\n[layout.other]\n{layout}'
    for run in runs:
        text += f'\n[[run]]\nid = "{run}"\nresults = "out"\nreference = "seen/{run}.csv"\n'
        text += f'layout = "other"\n{more}\n'
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


def whole_study(folder: Path) -> Path:
    """Results of five runs of three athletes, each with a reference in seconds."""
    for number, (run, steps) in enumerate(results(folder).items()):
        write_reference(folder, run, contacts(steps, seed=number), None)
    return study(folder, head='figures = ["contact_time_s", "step_frequency_hz"]')
