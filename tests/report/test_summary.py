import numpy as np
import pytest

from imuproc.core.columns import FIGURES
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.result import Distance
from imuproc.report.summary import (
    KEY_FIGURES,
    RUN_COLUMNS,
    WITH_SYMMETRY,
    failed_run,
    summarise_run,
)
from tests.report.fake_result import fake_steps

ATHLETE = Athlete(id="R07")
RUN = Run(id="R07-01", start="blocks", distance_m=60.0)


def test_slowing_steps_are_counted_but_left_out_of_means() -> None:
    steps = fake_steps(12)
    steps.loc[8:, "phase"] = "slowing"
    steps.loc[8:, "contact_time_s"] = 0.5
    summary = summarise_run("s", ATHLETE, RUN, steps, ())
    assert summary.counts["steps"] == 12
    assert summary.counts["steps_effort"] == 8
    expected = steps["contact_time_s"][:8].mean()
    assert summary.figures["mean_contact_time_s"] == pytest.approx(expected)


def test_the_count_behind_a_mean_is_told() -> None:
    steps = fake_steps(12)
    steps.loc[:4, "shin_angle_touchdown_deg"] = np.nan
    summary = summarise_run("s", ATHLETE, RUN, steps, ())
    assert summary.counts["n_shin_angle_touchdown"] == 7
    assert summary.counts["n_contact_time"] == 12


def test_symmetry_index_of_a_steady_run() -> None:
    steps = fake_steps(10)
    steps["contact_time_s"] = np.where(steps["side"] == "left", 0.120, 0.114)
    summary = summarise_run("s", ATHLETE, RUN, steps, ())
    assert summary.figures["left_minus_right_contact_time_s"] == pytest.approx(0.006)
    # Robinson, Herzog & Nigg 1987 (from memory)
    assert summary.figures["symmetry_contact_time_pct"] == pytest.approx(5.128205, abs=1e-6)


def test_angles_have_a_difference_but_no_index() -> None:
    names = [column.name for column in RUN_COLUMNS]
    assert "left_minus_right_shin_angle_touchdown_deg" in names
    assert not any(name.startswith("symmetry") and "shin" in name for name in names)
    indices = [name for name in names if name.startswith("symmetry")]
    assert len(indices) == 2 * len(WITH_SYMMETRY)
    assert not any(name.endswith("_deg") for name in WITH_SYMMETRY)


def test_flags_stand_once_and_flagged_steps_are_counted() -> None:
    steps = fake_steps(6)
    steps["flags"] = ["", "gap", "", "gap;event_unsure", "", ""]
    flags = (RaisedFlag("no_standing_after"), RaisedFlag("gap", step=2), RaisedFlag("gap", step=4))
    summary = summarise_run("s", ATHLETE, RUN, steps, flags)
    assert summary.value("flags") == "no_standing_after;gap"
    assert summary.counts["steps_flagged"] == 2


def test_a_run_without_steps_has_a_row_of_missing_figures() -> None:
    summary = summarise_run("s", ATHLETE, RUN, fake_steps(6).iloc[:0], ())
    assert summary.counts["steps"] == 0
    assert all(summary.value(f"mean_{name}") is None for name in KEY_FIGURES)


def test_the_distance_covered_stands_beside_the_stated_one() -> None:
    names = [column.name for column in RUN_COLUMNS]
    stated = names.index("distance_m")
    assert names[stated + 1 : stated + 3] == ["distance_covered_m", "distance_covered_m_u"]
    distance = Distance(58.71, 0.34, {"stance": 0.34})
    summary = summarise_run("s", ATHLETE, RUN, fake_steps(12), (), distance)
    assert [summary.value(name) for name in names[stated : stated + 3]] == [60.0, 58.71, 0.34]
    without = summarise_run("s", ATHLETE, RUN, fake_steps(12), ())
    assert [without.value(name) for name in names[stated : stated + 3]] == [60.0, None, None]


def test_a_failed_run_keeps_who_what_and_why() -> None:
    summary = failed_run("s", ATHLETE, RUN, "no gyroscope")
    shown = [summary.value(name) for name in ("athlete", "run", "distance_m", "status", "reason")]
    assert shown == ["R07", "R07-01", 60.0, "failed", "no gyroscope"]
    assert summary.value("steps") is None


def test_every_key_figure_is_a_column_of_the_step_table() -> None:
    assert set(KEY_FIGURES) <= set(FIGURES)
    names = [column.name for column in RUN_COLUMNS]
    assert len(names) == len(set(names))
