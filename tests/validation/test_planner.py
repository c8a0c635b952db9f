"""A study planned on short simulated runs, and the reckoning behind it on known numbers."""

from math import sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imuproc.agreement.judging import Judged
from imuproc.core.errors import SessionError
from imuproc.planning.planner import (
    build_accuracy_table,
    build_change_table,
    expect_accuracy,
    make_sensor_model,
    variance_components,
)
from imuproc.planning.sample_size import compute_needed_count
from imuproc.readers.plan_file import ErrorsEntry, PlanFile, read_plan
from tests.validation.published import IC, RV, SUBJECT

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
    found = expect_accuracy(plan(tmp_path), lambda: done.append(1))
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
    assert change["steps_without_error"] == compute_needed_count(0.005, 0.006)
    assert change["steps_needed"] > change["steps_without_error"]
    assert change["runs_needed"] >= change["runs_without_error"] >= 2


def test_sensors_are_the_grade_with_what_is_stated(tmp_path: Path) -> None:
    model = make_sensor_model(plan(tmp_path))
    assert (model.accel_range_g, model.gyro_noise_dps_rthz) == (24.0, 0.02)
    assert model.gyro_range_dps == 2000.0  # the grade's own
    with pytest.raises(SessionError, match="grade 'best' is not one of ideal, mid, mid16g, low"):
        make_sensor_model(plan(tmp_path, PLAN.replace('"mid"', '"best"')))


def test_variance_components_are_those_published() -> None:
    """Bland & Altman 2007, J Biopharm Stat 17:571, section 3: differences of 12 subjects.

    Values as recomputed from the data in public code: 0.170714 within, 0.810622 between.
    """
    groups = [(RV - IC)[one == SUBJECT] for one in np.unique(SUBJECT)]
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
    row = build_accuracy_table(runs).iloc[0]
    assert row["sd_within_run"] == pytest.approx(0.002, rel=0.05)
    assert row["sd_between_runs"] == pytest.approx(float(biases.std(ddof=1)), rel=0.05)
    assert row["bias"] == pytest.approx(0.001 + biases.mean(), abs=1e-4)
    assert row["given_percent"] == 100.0
    changes = plan_changes(0.004, 0.005, 0.002)
    told = build_change_table(build_accuracy_table(runs), changes, ErrorsEntry()).iloc[0]
    within, between = row["sd_within_run"], row["sd_between_runs"]
    assert told["steps_needed"] == compute_needed_count(0.004, sqrt(0.005**2 + within**2))
    of_run = sqrt(0.002**2 + between**2 + (0.005**2 + within**2) / 40)
    assert told["runs_needed"] == compute_needed_count(0.004, of_run)


def test_steps_that_were_missed_count_as_not_given() -> None:
    one = judged("R1", 0.0, 30, 1)
    lost = Judged(one.errors, 40, 30, 0, 0.0)
    row = build_accuracy_table([lost, Judged(one.errors.assign(case="R2"), 40, 30, 0, 0.0)]).iloc[0]
    assert (row["steps"], row["given_percent"]) == (80, 75.0)


def test_a_figure_that_is_never_given_needs_no_number() -> None:
    told = build_change_table(
        build_accuracy_table([judged("R1", 0.0, 5, 1)]),
        plan_changes(1.0, 1.0, 1.0, "speed_mps"),
        ErrorsEntry(),
    ).iloc[0]
    assert np.isnan(told["steps_needed"])
    assert np.isnan(told["runs_needed"])


def plan_changes(change: float, step_sd: float, run_sd: float, figure: str = "contact_time_s"):
    from imuproc.readers.plan_file import ChangeEntry

    return [ChangeEntry(figure=figure, change=change, step_sd=step_sd, run_sd=run_sd)]
