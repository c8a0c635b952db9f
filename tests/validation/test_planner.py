"""A study planned on short simulated runs, and the reckoning behind it on known numbers."""

from math import sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imuproc.core.errors import SessionError
from imuproc.readers.plan_file import ErrorsEntry, PlanFile, read_plan
from imuproc.validation.judging import Judged
from imuproc.validation.planner import (
    accuracy_table,
    change_table,
    expect,
    sensor_model,
    variance_components,
)
from imuproc.validation.sample_size import needed_in_each

PLAN = """
schema = 1

[sensors]
grade = "mid"
rate_hz = 200
accel_range_g = 24
gyro_noise_dps_rthz = 0.02

[runs]
athletes = 1
runs = 2
distance_m = 10
starts = ["standing"]
seed = 3

[[change]]
figure = "contact_time_s"
change = 0.005
step_sd = 0.006
run_sd = 0.003
"""


def plan(tmp_path: Path, text: str = PLAN) -> PlanFile:
    path = tmp_path / "plan.toml"
    path.write_text(text)
    return read_plan(path)


def test_a_plan_is_simulated_judged_and_reckoned(tmp_path: Path) -> None:
    done = []
    found = expect(plan(tmp_path), lambda: done.append(1))
    assert len(done) == found.runs == 2
    assert found.failed == ()
    assert found.found >= 0.9 * found.steps > 0
    accuracy = found.accuracy.set_index("figure")
    assert {"contact_time_s", "shin_angle_touchdown_deg", "step_length_m"} <= set(accuracy.index)
    contact = accuracy.loc["contact_time_s"]
    assert contact["unit"] == "s"
    assert 0.0005 < contact["sd"] < 0.02  # some ms, whatever the detector
    assert contact["within_low_percent"] <= contact["within_2u_percent"]
    step = sqrt(2.0) * 1.96 * contact["sd_within_run"]
    assert contact["smallest_change_step"] == pytest.approx(step)
    change = found.changes.iloc[0]
    assert change["steps_without_error"] == needed_in_each(0.005, 0.006)
    assert change["steps_needed"] > change["steps_without_error"]
    assert change["runs_needed"] >= change["runs_without_error"] >= 2


def test_sensors_are_the_grade_with_what_is_stated(tmp_path: Path) -> None:
    model = sensor_model(plan(tmp_path))
    assert (model.accel_range_g, model.gyro_noise_dps_rthz) == (24.0, 0.02)
    assert model.gyro_range_dps == 2000.0  # the grade's own
    with pytest.raises(SessionError, match="grade 'best' is not one of ideal, mid, mid16g, low"):
        sensor_model(plan(tmp_path, PLAN.replace('"mid"', '"best"')))


def test_variance_components_are_those_published() -> None:
    """Bland & Altman 2007, J Biopharm Stat 17:571, section 3: differences of 12 subjects.

    Values as recomputed from the data in public code: 0.170714 within, 0.810622 between.
    """
    pairs = """
    7.83,6.57 7.42,5.62 7.89,6.90 7.12,6.57 7.88,6.35
    6.16,4.06 7.26,4.29 6.71,4.26 6.54,4.09
    4.75,4.71 5.24,5.50 4.86,5.08 4.78,5.02 6.05,6.01 5.42,5.67
    4.21,4.14 3.61,4.20 3.72,4.61 3.87,4.68 3.92,5.04
    3.13,3.03 2.98,2.86 2.85,2.77 3.17,2.46 3.09,2.32 3.12,2.43
    5.92,5.90 6.42,5.81 5.92,5.70 6.27,5.76
    7.13,5.09 6.62,4.63 6.58,4.61 6.93,5.09
    4.54,4.72 4.81,4.61 5.11,4.36 5.29,4.20 5.39,4.36 5.57,4.20
    4.48,3.17 4.92,3.12 3.97,2.96
    4.22,4.35 4.65,4.62 4.74,3.16 4.44,3.53 4.50,3.53
    6.78,7.20 6.07,6.09 6.52,7.00 6.42,7.10 6.41,7.40 5.76,6.80
    5.06,4.50 4.72,4.20 4.90,3.80 4.80,3.80 4.90,4.20 5.10,4.50
    """
    groups = [
        np.array([float(a) - float(b) for a, b in (p.split(",") for p in line.split())])
        for line in pairs.strip().splitlines()
    ]
    within, between = variance_components([*groups, np.empty(0)])
    assert within == pytest.approx(0.170714, abs=5e-7)
    assert between == pytest.approx(0.810622, abs=5e-7)
    assert np.isnan(variance_components(groups[:1])).all()


def judged(case: str, bias: float, n: int, seed: int) -> Judged:
    rng = np.random.default_rng(seed)
    error = bias + 0.002 * rng.normal(size=n)
    rows = {"figure": "contact_time_s", "error": error, "u": 0.002, "true": 0.15, "case": case}
    return Judged(pd.DataFrame(rows), n, n, 0, 0.0)


def test_error_within_and_between_runs_is_told_apart() -> None:
    biases = 0.003 * np.random.default_rng(1).normal(size=60)
    runs = [judged(f"R{k}", 0.001 + b, 40, k) for k, b in enumerate(biases)]
    row = accuracy_table(runs).iloc[0]
    assert row["sd_within_run"] == pytest.approx(0.002, rel=0.05)
    assert row["sd_between_runs"] == pytest.approx(float(biases.std(ddof=1)), rel=0.05)
    assert row["bias"] == pytest.approx(0.001 + biases.mean(), abs=1e-4)
    assert row["given_percent"] == 100.0
    changes = plan_changes(0.004, 0.005, 0.002)
    told = change_table(accuracy_table(runs), changes, ErrorsEntry()).iloc[0]
    within, between = row["sd_within_run"], row["sd_between_runs"]
    assert told["steps_needed"] == needed_in_each(0.004, sqrt(0.005**2 + within**2))
    of_run = sqrt(0.002**2 + between**2 + (0.005**2 + within**2) / 40)
    assert told["runs_needed"] == needed_in_each(0.004, of_run)


def test_steps_that_were_missed_count_as_not_given() -> None:
    one = judged("R1", 0.0, 30, 1)
    lost = Judged(one.errors, 40, 30, 0, 0.0)
    row = accuracy_table([lost, Judged(one.errors.assign(case="R2"), 40, 30, 0, 0.0)]).iloc[0]
    assert (row["steps"], row["given_percent"]) == (80, 75.0)


def test_a_figure_that_is_never_given_needs_no_number() -> None:
    told = change_table(
        accuracy_table([judged("R1", 0.0, 5, 1)]),
        plan_changes(1.0, 1.0, 1.0, "speed_mps"),
        ErrorsEntry(),
    ).iloc[0]
    assert np.isnan(told["steps_needed"])
    assert np.isnan(told["runs_needed"])


def plan_changes(change: float, step_sd: float, run_sd: float, figure: str = "contact_time_s"):
    from imuproc.readers.plan_file import ChangeEntry

    return [ChangeEntry(figure=figure, change=change, step_sd=step_sd, run_sd=run_sd)]
