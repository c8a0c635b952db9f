"""The main job, end to end: session file and logs in, step table out.

Bars here are what a user would notice; accuracy is judged by ``scripts/accuracy.py``.
"""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.columns import step_table_columns
from imuproc.core.result import Result
from imuproc.synth.plan import Fault
from imuproc.synth.stances import compute_published_contact_s
from tests.pipeline.whole_runs import run_flags
from tests.simulated import (
    PUBLISHED,
    USUAL,
    compute_errors,
    make_result,
    make_run,
    match_rows,
    plan_run,
    select_running,
)

SESSION = """schema = 1

[session]
id = "harbour-2031-04-12"
date = 2031-04-12
surface = "track"
latitude_deg = 45.5

[layout.field-logger]
time = { column = "time_s", unit = "s" }
accel = { columns = ["ax", "ay", "az"], unit = "g", range = 32 }
gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s", range = 2000 }

[[athlete]]
id = "R07"
stature_m = 1.74

[[run]]
id = "R07-01"
athlete = "R07"
start = "blocks"
distance_m = 20
layout = "field-logger"
clock = "shared"
[run.logs]
left_shank = "ls.csv"
left_foot = "lf.csv"
right_shank = "rs.csv"
right_foot = "rf.csv"
"""
FILES = {"left_shank": "ls", "left_foot": "lf", "right_shank": "rs", "right_foot": "rf"}


@pytest.fixture(scope="module")
def session_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of one sprint, as a logger would have written it."""
    folder = tmp_path_factory.mktemp("session")
    recording, _ = make_run(USUAL)
    for site, name in FILES.items():
        log = recording.logs[site]  # type: ignore[index]
        table = np.column_stack((log.time_s, log.accel_mps2 / 9.80665, np.degrees(log.gyro_radps)))
        frame = pd.DataFrame(table, columns=["time_s", "ax", "ay", "az", "gx", "gy", "gz"])
        frame.to_csv(folder / f"{name}.csv", index=False, float_format="%.6f")
    (folder / "session.toml").write_text(SESSION, encoding="utf-8")
    return folder / "session.toml"


# --- A newcomer's way through ---------------------------------------------------------------------


def test_the_command_gives_a_table_that_a_coach_can_read(
    session_file: Path, tmp_path: Path
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "imuproc", "process", session_file, "-o", tmp_path / "out"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    # Progress, a line for each run, and nothing else.
    assert re.fullmatch(r"1/1 R07-01 done\b.* steps.*\n", done.stderr)
    for word in ("R07-01", "step", "left", "right", "contact", "flight", "shin"):
        assert word in done.stdout.lower() or word in done.stdout
    steps = pd.read_csv(tmp_path / "out" / "steps.csv", keep_default_na=True)
    assert list(steps.columns) == step_table_columns()
    parquet = pd.read_parquet(tmp_path / "out" / "steps.parquet")
    np.testing.assert_allclose(parquet["contact_time_s"], steps["contact_time_s"], atol=1e-4)
    runs = pd.read_csv(tmp_path / "out" / "runs.csv")
    assert runs[["athlete", "run", "status", "steps"]].to_numpy().tolist() == [
        ["R07", "R07-01", "done", len(steps)]
    ]
    truth = select_running(make_run(USUAL)[1])
    assert steps["side"].tolist() == truth["side"].tolist()
    np.testing.assert_allclose(steps["touchdown_s"], truth["touchdown_s"], atol=0.06)


def test_python_gives_the_same_as_the_command(session_file: Path) -> None:
    session = imuproc.read_session(session_file)
    (recording,) = session.recordings()
    assert recording.gravity_mps2 == pytest.approx(9.80665, abs=1e-4)  # 45.5 deg north, WGS84
    result = imuproc.process(recording)
    plain = make_result(USUAL)
    assert (result.session, result.athlete, result.run) == ("harbour-2031-04-12", "R07", "R07-01")
    # A file has six decimals; the athlete's stature differs.
    for name in ("contact_time_s", "shin_angle_touchdown_deg", "step_length_m"):
        np.testing.assert_allclose(
            result.steps[name], plain.steps[name], atol={"s": 1e-3, "g": 0.05, "m": 0.01}[name[-1]]
        )
    assert {"time_s", "shin_angle_left_deg", "dorsiflexion_right_deg"} <= set(result.curves)
    assert result.history[0].stage == "readers.session"


# --- Right figures --------------------------------------------------------------------------------


def compute_bias_and_rms(result: Result, truth: pd.DataFrame, figure: str) -> tuple[float, float]:
    error = compute_errors(result.steps, truth, figure)
    return float(np.nanmean(error)), float(np.sqrt(np.nanmean(error**2)))


NOTICED = {
    "contact_time_s": 0.015,
    "step_frequency_hz": 0.1,
    "shin_angle_touchdown_deg": 2.5,
    "foot_pitch_touchdown_deg": 4.0,
    "dorsiflexion_swing_mean_deg": 3.0,
    "step_length_m": 0.10,
    "speed_mps": 0.45,
}
"""Root mean square error that a coach or a sport scientist would notice (judgement)."""


@pytest.mark.parametrize("start", ["blocks", "three-point", "standing"])
def test_figures_are_near_the_truth(start: str) -> None:
    plan = USUAL if start == "blocks" else plan_run(500 + len(start), start)  # type: ignore[arg-type]
    result, truth = make_result(plan), select_running(make_run(plan)[1])
    assert len({column for _, column in match_rows(result.steps, truth)}) == len(truth)
    for figure, most in NOTICED.items():
        _, rms = compute_bias_and_rms(result, truth, figure)
        assert rms < most, figure


@pytest.mark.parametrize("start", ["three-point", "crouch", "standing", "rolling"])
def test_logs_under_their_right_names_raise_no_alarm(start: str) -> None:
    result = make_result(plan_run(500 + len(start), start))  # type: ignore[arg-type]
    assert run_flags(result) == set()


def test_almost_all_errors_are_within_three_stated_uncertainties() -> None:
    result, truth = make_result(USUAL), select_running(make_run(USUAL)[1])
    pairs = match_rows(result.steps, truth)
    rows = [row for row, _ in pairs]
    for figure in ("shin_angle_touchdown_deg", "step_frequency_hz", "step_length_m"):
        error = np.abs(compute_errors(result.steps, truth, figure))
        u = result.steps[f"{figure}_u"].to_numpy()[rows]
        known = np.isfinite(error)
        assert np.mean((error <= 3.0 * u)[known]) > 0.8, figure


def test_uncertainties_are_of_a_size_that_helps() -> None:
    steps = make_result(USUAL).steps[:12]
    assert steps["contact_time_s_u"].max() < 0.012
    assert steps["shin_angle_touchdown_deg_u"].max() < 3.0
    assert steps["step_length_m_u"].max() < 0.12


# --- Published and coaching anchors ---------------------------------------------------------------


def test_contact_times_by_step_range_are_the_published_ones() -> None:
    """Blauberger, Horsch & Lames 2021, Sensors 21:7331, table 1: steps 1-5 163.45 ± 24.73 ms,
    steps 6-15 118.43 ± 9.45 ms (mean ± SD of five elite sprinters)."""
    result, truth = make_result(PUBLISHED), select_running(make_run(PUBLISHED)[1])
    assert len(truth) >= 15
    # The simulator is set to them: its own contacts have their means.
    set_to = np.array([compute_published_contact_s(step) for step in range(1, 16)])
    np.testing.assert_allclose(truth["contact_time_s"][:15], set_to, atol=0.006)
    contact_ms = 1000.0 * result.steps["contact_time_s"].to_numpy()
    assert contact_ms[:5].mean() == pytest.approx(163.45, abs=24.73)
    assert contact_ms[5:15].mean() == pytest.approx(118.43, abs=9.45)


def test_the_first_contacts_have_the_shin_near_45_degrees_and_it_rises() -> None:
    """About 45 deg in the drive phase, rising to upright (common practice, no source)."""
    shin = make_result(PUBLISHED).steps["shin_angle_touchdown_deg"].to_numpy()
    assert shin[0] == pytest.approx(48.0, abs=5.0)  # the simulated technique's own
    assert (np.diff(shin[:5]) > 0.0).all()
    assert 85.0 < shin[10:15].mean() < 97.0


def process_with_fault(fault: Fault) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The first ten steps of the same run without and with a fault."""
    plain = make_result(USUAL).steps[:10]
    return plain, make_result(replace(USUAL, faults=(fault,))).steps[:10]


def test_a_dropped_toe_is_seen() -> None:
    """Toe held up in the air (common practice, no source); the fault lowers it by 17 deg."""
    plain, dropped = process_with_fault("toe-drop")
    less = (plain["dorsiflexion_swing_mean_deg"] - dropped["dorsiflexion_swing_mean_deg"]).dropna()
    assert len(less) >= 9
    assert less.min() > 5.0
    assert less.mean() == pytest.approx(17.0, abs=6.0)
    shin = (plain["shin_angle_touchdown_deg"] - dropped["shin_angle_touchdown_deg"]).abs()
    assert shin.median() < 1.0  # and nothing else is blamed


def test_reaching_is_seen() -> None:
    """Foot under the body, not ahead (common practice, no source); the fault adds 9 to 14 deg."""
    plain, reaching = process_with_fault("reaching")
    more = reaching["shin_angle_touchdown_deg"] - plain["shin_angle_touchdown_deg"]
    assert more.min() > 5.0
    assert more[:3].mean() == pytest.approx(13.0, abs=3.0)
    ahead = reaching["ankle_ahead_of_knee_m"] - plain["ankle_ahead_of_knee_m"]
    assert ahead.min() > 0.03


def test_an_uneven_runner_is_seen() -> None:
    """The fault moves the shins apart by 6 deg, left up and right down."""
    plain, uneven = process_with_fault("asymmetry")
    change = uneven["shin_angle_touchdown_deg"] - plain["shin_angle_touchdown_deg"]
    left = plain["side"] == "left"
    assert change[left].mean() - change[~left].mean() == pytest.approx(6.0, abs=1.5)


def test_phases_of_a_sprint_and_of_its_slowing() -> None:
    phase = make_result(PUBLISHED).steps["phase"].tolist()
    assert phase[:4] == ["drive"] * 4
    assert phase[-4:] == ["slowing"] * 4
    order = ("drive", "transition", "upright", "slowing")
    assert [order.index(p) for p in phase] == sorted(order.index(p) for p in phase)


def test_a_rolling_start_has_no_drive() -> None:
    result = make_result(plan_run(500 + len("rolling"), "rolling"))
    assert "drive" not in set(result.steps["phase"])
