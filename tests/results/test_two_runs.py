"""Two runs against each other: steps of the same number, with what scatter and sensors leave."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from imuproc.results.means import compute_means
from imuproc.results.summary import PhaseSummary, RunSummary
from imuproc.results.two_runs import compare_phases
from tests.report.fake_result import fake_parts, fake_steps


def summed(steps: pd.DataFrame, athlete: str = "R07") -> RunSummary:
    """A run of which only what the comparison needs is known."""
    phases = tuple(
        PhaseSummary(
            str(name),
            len(rows),
            compute_means(steps, fake_parts(steps), [(steps["phase"] == name).to_numpy()])[0],
        )
        for name, rows in steps.groupby("phase", sort=False)
    )
    made = RunSummary.__new__(RunSummary)
    values = {"session": "harbour", "athlete": athlete, "phases": phases}
    for name, value in values.items():
        object.__setattr__(made, name, value)
    return made


def differences(first: pd.DataFrame, second: pd.DataFrame, athlete: str = "R07") -> dict:
    found = compare_phases(summed(first), summed(second, athlete), (first, second))
    return {(one.phase, one.figure): one for one in found}


def test_the_change_through_a_run_is_no_scatter_and_a_shift_is_found() -> None:
    first = fake_steps(12)
    second = first.assign(contact_time_s=first["contact_time_s"] + 0.02)
    found = differences(first, second)["transition", "contact_time_s"]
    assert found.difference == pytest.approx(0.02)
    assert found.first < found.second
    assert found.steps == 9
    measured = summed(first).phases[1].means["contact_time_s"].u_repeat
    assert found.u == pytest.approx(np.sqrt(2.0) * measured)
    assert found.is_clear == (2.0 * found.u < 0.02)


def test_the_scatter_part_is_the_standard_error_of_paired_differences() -> None:
    rng = np.random.default_rng(3)
    first = fake_steps(12)
    noisy = first["contact_time_s"] + rng.normal(0.0, 0.004, len(first))
    second = first.assign(contact_time_s=noisy)
    found = differences(first, second)["transition", "contact_time_s"]
    rows = first["phase"] == "transition"
    paired = stats.sem(noisy[rows] - first["contact_time_s"][rows])
    measured = np.hypot(
        summed(first).phases[1].means["contact_time_s"].u_repeat,
        summed(second).phases[1].means["contact_time_s"].u_repeat,
    )
    assert found.u == pytest.approx(np.hypot(paired, measured))


def test_two_athletes_are_as_sure_as_against_the_truth() -> None:
    first = fake_steps(12)
    own, other = differences(first, first), differences(first, first, "R12")
    key = ("transition", "shin_angle_touchdown_deg")
    assert other[key].u >= own[key].u
    assert own[key].difference == 0.0
    assert not own[key].is_clear


def test_only_phases_and_steps_of_both_runs_are_compared() -> None:
    first = fake_steps(12)
    second = first.assign(phase=["drive"] * 2 + ["upright"] * 10)
    found = differences(first, second)
    assert {phase for phase, _ in found} == {"drive"}
    assert all(one.steps == 2 for one in found.values())
    assert ("drive", "pelvis_tilt_touchdown_deg") not in found
    assert differences(first, first.iloc[:0]) == {}
