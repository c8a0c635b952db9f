from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.columns import FIGURES
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.result import Distance
from imuproc.results.archive.writing import Provenance, write_run_archive
from imuproc.results.columns import KEY_FIGURES, RUN_COLUMNS, WITH_SYMMETRY
from imuproc.results.means import compute_means
from imuproc.results.summarising import Measured, summarise_archived, summarise_run, summarise_steps
from imuproc.results.summary import make_failed_run
from tests.report.fake_result import fake_parts, fake_steps
from tests.simulated import USUAL, make_result

ATHLETE = Athlete(id="R07")
RUN = Run(id="R07-01", start="blocks", distance_m=60.0)


def test_slowing_steps_are_counted_but_left_out_of_means() -> None:
    steps = fake_steps(12)
    steps.loc[8:, "phase"] = "slowing"
    steps.loc[8:, "contact_time_s"] = 0.5
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps))
    assert summary.counts["steps"] == 12
    assert summary.counts["steps_effort"] == 8
    expected = steps["contact_time_s"][:8].mean()
    assert summary.figures["mean_contact_time_s"] == pytest.approx(expected)


def test_the_count_behind_a_mean_is_told() -> None:
    steps = fake_steps(12)
    steps.loc[:4, "shin_angle_touchdown_deg"] = np.nan
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps))
    assert summary.counts["n_shin_angle_touchdown"] == 7
    assert summary.counts["n_contact_time"] == 12


def test_symmetry_index_of_a_steady_run() -> None:
    steps = fake_steps(10)
    steps["contact_time_s"] = np.where(steps["side"] == "left", 0.120, 0.114)
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps))
    assert summary.figures["left_minus_right_contact_time_s"] == pytest.approx(0.006)
    # Robinson, Herzog & Nigg 1987 (from memory)
    assert summary.figures["symmetry_contact_time_pct"] == pytest.approx(5.128205, abs=1e-6)
    # Zifchock et al. 2008 (from memory); the sign is the other way round
    assert summary.figures["symmetry_angle_contact_time_pct"] == pytest.approx(-1.632, abs=1e-6)


def test_angles_have_a_difference_but_no_index() -> None:
    names = list(RUN_COLUMNS)
    assert "left_minus_right_shin_angle_touchdown_deg" in names
    assert not any(name.startswith("symmetry") and "shin" in name for name in names)
    indices = [name for name in names if name.startswith("symmetry")]
    assert len(indices) == 2 * len(WITH_SYMMETRY)
    assert not any(name.endswith("_deg") for name in WITH_SYMMETRY)


def test_flags_stand_once_and_flagged_steps_are_counted() -> None:
    steps = fake_steps(6)
    steps["flags"] = ["", "gap", "", "gap;event_unsure", "", ""]
    flags = (RaisedFlag("no_standing_after"), RaisedFlag("gap", step=2), RaisedFlag("gap", step=4))
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps, flags))
    assert summary.value("flags") == "no_standing_after;gap"
    assert summary.counts["steps_flagged"] == 2


def test_a_run_without_steps_has_a_row_of_missing_figures() -> None:
    summary = summarise_run("s", ATHLETE, RUN, Measured(fake_steps(6).iloc[:0]))
    assert summary.counts["steps"] == 0
    assert all(summary.value(f"mean_{name}") is None for name in KEY_FIGURES)


def test_the_distance_covered_stands_beside_the_stated_one() -> None:
    names = list(RUN_COLUMNS)
    stated = names.index("distance_m")
    assert names[stated + 1 : stated + 3] == ["distance_covered_m", "distance_covered_m_u"]
    distance = Distance(58.71, 0.34, {"stance": 0.34})
    summary = summarise_run("s", ATHLETE, RUN, Measured(fake_steps(12), (), distance))
    assert [summary.value(name) for name in names[stated : stated + 3]] == [60.0, 58.71, 0.34]
    without = summarise_run("s", ATHLETE, RUN, Measured(fake_steps(12)))
    assert [without.value(name) for name in names[stated : stated + 3]] == [60.0, None, None]


def test_a_failed_run_keeps_who_what_and_why() -> None:
    summary = make_failed_run("s", ATHLETE, RUN, "no gyroscope")
    shown = [summary.value(name) for name in ("athlete", "run", "distance_m", "status", "reason")]
    assert shown == ["R07", "R07-01", 60.0, "failed", "no gyroscope"]
    assert summary.value("steps") is None


def test_every_key_figure_is_a_column_of_the_step_table() -> None:
    assert set(KEY_FIGURES) <= set(FIGURES)
    names = list(RUN_COLUMNS)
    assert len(names) == len(set(names))


def test_feet_that_are_both_down_have_no_symmetry_of_flight() -> None:
    steps = fake_steps(10)
    steps["flight_time_s"] = np.where(steps["side"] == "left", -0.02, -0.01)
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps))
    assert summary.figures["left_minus_right_flight_time_s"] == pytest.approx(-0.01)
    assert summary.value("symmetry_flight_time_pct") is None
    assert summary.value("symmetry_angle_flight_time_pct") is None


def steady(count: int, difference_s: float, scatter_s: float, seed: int = 11) -> pd.DataFrame:
    """Contacts that differ between left and right, and scatter by chance."""
    steps = fake_steps(count)
    noise = np.random.default_rng(seed).normal(0.0, scatter_s, count)
    left = np.where(steps["side"] == "left", 0.5, -0.5)
    steps["contact_time_s"] = 0.12 + left * difference_s + noise
    return steps


def test_only_a_difference_beyond_scatter_and_stated_uncertainty_is_sure() -> None:
    def sure(difference_s: float, scatter_s: float, count: int = 16) -> bool:
        steps = steady(count, difference_s, scatter_s)
        summary = summarise_run("s", ATHLETE, RUN, Measured(steps))
        return "contact_time_s" in summary.surely_differ()

    assert sure(0.015, 0.001)
    assert sure(-0.015, 0.001)
    assert not sure(0.003, 0.001)  # each contact is stated to +-3 ms
    assert not sure(0.015, 0.001, count=6)  # too few to know the scatter


def test_scatter_is_rarely_taken_for_a_difference() -> None:
    found = []
    for seed in range(60):
        _, figures = summarise_steps(steady(16, 0.0, 0.012, seed))
        difference = figures["left_minus_right_contact_time_s"]
        found.append(abs(difference) > 2.0 * figures["left_minus_right_contact_time_s_u"])
    assert np.mean(found) < 0.06


def test_the_uncertainty_of_a_difference_is_a_column_beside_it() -> None:
    names = list(RUN_COLUMNS)
    for figure in KEY_FIGURES:
        at = names.index(f"left_minus_right_{figure}")
        assert names[at + 1] == f"left_minus_right_{figure}_u"
        assert RUN_COLUMNS[names[at + 1]].unit == RUN_COLUMNS[names[at]].unit
    summary = summarise_run("s", ATHLETE, RUN, Measured(steady(16, 0.01, 0.002)))
    assert 0.001 < summary.figures["left_minus_right_contact_time_s_u"] < 0.006
    assert summary.value("left_minus_right_step_length_m_u") is None


def test_the_sign_of_each_symmetry_figure_is_told() -> None:
    meaning = {name: column.meaning for name, column in RUN_COLUMNS.items()}
    assert meaning["symmetry_contact_time_pct"].endswith("positive: left is larger.")
    assert meaning["symmetry_angle_contact_time_pct"].endswith("negative: left is larger.")


def test_the_group_goes_with_the_run_also_when_it_failed() -> None:
    athlete = Athlete(id="R07", group="sprint")
    done = summarise_run("s", athlete, RUN, Measured(fake_steps(9)))
    failed = make_failed_run("s", athlete, RUN, "no gyroscope")
    assert [run.value("group") for run in (done, failed)] == ["sprint", "sprint"]
    assert make_failed_run("s", ATHLETE, RUN, "no gyroscope").value("group") is None


def test_a_table_of_an_older_version_has_means_with_what_it_knows() -> None:
    steps = fake_steps()
    old = steps[[name for name in steps.columns if not name.endswith("_u_repeat")]]
    counts, figures = summarise_steps(old)
    assert counts == summarise_steps(steps)[0]
    assert figures["mean_contact_time_s"] == summarise_steps(steps)[1]["mean_contact_time_s"]
    assert np.isnan(figures["mean_contact_time_s_u_repeat"])


# --- Phases ---------------------------------------------------------------------------------------


def of_phases(count: int = 12) -> pd.DataFrame:
    steps = fake_steps(count)
    steps["phase"] = ["drive"] * 4 + ["transition"] * 3 + ["upright"] * 4 + ["slowing"]
    return steps


def test_each_phase_of_a_run_is_summed_up_in_its_order() -> None:
    steps = of_phases()
    steps.loc[5, "shin_angle_touchdown_deg"] = np.nan
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps, uncertainty=fake_parts(steps)))
    assert [(phase.phase, phase.steps) for phase in summary.phases] == [
        ("drive", 4), ("transition", 3), ("upright", 4), ("slowing", 1),
    ]  # fmt: skip
    expected = steps.groupby("phase")["shin_angle_touchdown_deg"].agg(["count", "mean", "std"])
    for phase in summary.phases:
        mean = phase.means["shin_angle_touchdown_deg"]
        told = expected.loc[phase.phase]
        assert (mean.count, mean.value) == (told["count"], pytest.approx(told["mean"]))
        np.testing.assert_allclose(mean.sd, told["std"])
    assert np.isnan(summary.phases[-1].means["shin_angle_touchdown_deg"].sd)


def test_the_mean_of_a_run_is_over_its_effort_with_both_uncertainties() -> None:
    steps = of_phases()
    parts = fake_parts(steps)
    summary = summarise_run("s", ATHLETE, RUN, Measured(steps, uncertainty=parts))
    mean = compute_means(steps, parts, [(steps["phase"] != "slowing").to_numpy()])[0]
    for figure in ("contact_time_s", "shin_angle_touchdown_deg"):
        of_row = [summary.figures[f"mean_{figure}{end}"] for end in ("", "_u", "_u_repeat")]
        assert of_row == [mean[figure].value, mean[figure].u, mean[figure].u_repeat]
        assert 0.0 < of_row[2] <= of_row[1] < np.inf


def test_a_run_without_steps_has_no_phases() -> None:
    assert summarise_run("s", ATHLETE, RUN, Measured(fake_steps(6).iloc[:0])).phases == ()
    assert make_failed_run("s", ATHLETE, RUN, "no gyroscope").phases == ()


# --- What a user calls ----------------------------------------------------------------------------


def test_a_result_is_summed_up_as_its_archive_is(tmp_path: Path) -> None:
    result = make_result(USUAL)
    summary = imuproc.summarise(result)
    assert (summary.run, summary.status) == (result.run, "done")
    assert summary.counts["steps"] == len(result.steps)
    assert summary.figures["distance_covered_m"] == result.distances[result.run].value_m
    assert {phase.phase for phase in summary.phases} == set(result.steps["phase"])
    write_run_archive(tmp_path / "a.h5", result, Provenance("0", {}, {}))
    with imuproc.open_archive(tmp_path / "a.h5") as archive:
        back = summarise_archived(archive.run(result.run))
    assert repr(back) == repr(summary)  # as text, since a NaN equals nothing


def test_a_result_of_several_runs_is_told_to_be_taken_apart() -> None:
    result = make_result(USUAL)
    several = replace(result, parts=(result, result))
    with pytest.raises(ValueError, match="holds 2 runs; allowed: one, such as each of its parts"):
        imuproc.summarise(several)
