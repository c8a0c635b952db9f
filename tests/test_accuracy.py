"""Accuracy that users are promised, on a small set; the whole sweep is scripts/accuracy.py.

Simulated starts: seeds that nothing was tuned to. Real motion: optical poses and force-plate
contacts of Fukuchi, Fukuchi & Duarte 2017 (PeerJ 5:e3298), 20 N above local zero, made into signals
of mid-grade sensors at 500 Hz.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pandas as pd
import pytest

from imuproc.agreement.judging import Judged, judge, match_steps, select_judged_steps
from imuproc.core.columns import FIGURES, step_table_columns
from imuproc.core.result import Distance, Result
from imuproc.synth.truth import Truth
from scripts.accuracy import Sweep, judge_cases, main, make_real_cases, make_simulated_cases
from scripts.lab.accuracy_cases import Recipe, judge_case, make_case
from scripts.lab.accuracy_groups import GROUPS, choose_groups
from scripts.lab.accuracy_lean import LEAN_ASIDE_DEG, LEAN_DEG
from scripts.lab.accuracy_tables import BARS, Bar, add_bars, list_whole_run_rows, summarise_runs
from tests.shared_data import needs_shared_data

SEED = 88_100
LEANS = ("none", "unstated", "stated")


@cache
def judge_simulated_runs() -> tuple[Judged, ...]:
    return tuple(judge_cases(make_simulated_cases(4, SEED, "mid", 500.0), "all", False))


@cache
def judge_real_runs() -> tuple[Judged, ...]:
    return tuple(judge_cases(make_real_cases("mid", 500.0, SEED, "none", 5), "all", False))


def summarise_figures(judged: tuple[Judged, ...]) -> pd.DataFrame:
    return summarise_runs(list(judged)).set_index("figure")


def compute_swing_rmse_deg(judged: tuple[Judged, ...]) -> float:
    return float(np.sqrt(np.mean([one.pitch_swing_rms_deg**2 for one in judged])))


def test_every_simulated_step_is_found_and_none_invented() -> None:
    assert sum(one.real_steps for one in judge_simulated_runs()) > 80
    assert sum(one.found for one in judge_simulated_runs()) == sum(
        one.real_steps for one in judge_simulated_runs()
    )
    assert sum(one.invented for one in judge_simulated_runs()) == 0


@pytest.mark.parametrize(
    ("figure", "bias", "rmse"),
    [
        # The sweep gives touchdown 1.5 ms early, which is 0.7 deg of the shin.
        ("touchdown_s", 0.002, 0.0025),
        ("toe_off_s", 0.002, 0.0025),
        ("contact_time_s", 0.002, 0.0035),
        ("shin_angle_touchdown_deg", 0.8, 1.0),
        ("dorsiflexion_swing_min_deg", 0.6, 0.8),
        ("step_frequency_hz", 0.02, 0.06),
        ("step_length_m", 0.02, 0.03),
    ],
)
def test_simulated_starts(figure: str, bias: float, rmse: float) -> None:
    row = summarise_figures(judge_simulated_runs()).loc[figure]
    assert abs(row["bias"]) <= bias
    assert row["rmse"] <= rmse


@pytest.mark.parametrize("sweep", ["landing", "leaving"])
def test_feet_that_land_or_leave_as_they_may_are_wrong_but_not_sure(sweep: str) -> None:
    recipe = Recipe("sprint", ground=sweep)  # type: ignore[arg-type]
    judged = tuple(judge_case(recipe, number, SEED) for number in range(3))
    assert all(one.found == one.real_steps and one.invented == 0 for one in judged)
    table = summarise_figures(judged)
    contact, shin = table.loc["contact_time_s"], table.loc["shin_angle_touchdown_deg"]
    assert abs(contact["bias"]) <= 0.006
    assert contact["rmse"] <= 0.012
    assert shin["rmse"] <= 3.0
    assert (table.loc[["touchdown_s", "toe_off_s"], "within_2u_percent"] >= 90.0).all()
    errors = pd.concat([one.errors for one in judged])
    down = errors[errors["figure"] == "touchdown_s"]
    far = down[down["error"].abs() > 0.015]
    assert (far["u"] >= 0.4 * far["error"].abs()).all()


def test_foot_pitch_curve_of_simulated_swings() -> None:
    assert compute_swing_rmse_deg(judge_simulated_runs()) <= 0.8


@needs_shared_data
def test_real_steps_are_found_and_none_invented() -> None:
    assert sum(one.real_steps for one in judge_real_runs()) > 60
    assert all(one.found == one.real_steps and one.invented == 0 for one in judge_real_runs())


@needs_shared_data
@pytest.mark.parametrize(
    ("figure", "bias", "rmse"),
    [
        ("touchdown_s", 0.003, 0.005),
        ("toe_off_s", 0.003, 0.006),
        ("contact_time_s", 0.004, 0.007),
        ("shin_angle_touchdown_deg", 0.5, 0.8),
        ("dorsiflexion_swing_min_deg", 1.0, 1.5),
        ("step_frequency_hz", 0.02, 0.08),
        ("step_length_m", 0.03, 0.04),
    ],
)
def test_real_motion_against_force_plate_and_optics(figure: str, bias: float, rmse: float) -> None:
    row = summarise_figures(judge_real_runs()).loc[figure]
    assert abs(row["bias"]) <= bias
    assert row["rmse"] <= rmse


@needs_shared_data
def test_foot_pitch_curve_of_real_swings() -> None:
    assert compute_swing_rmse_deg(judge_real_runs()) <= 1.0


@needs_shared_data
def test_stated_uncertainty_covers_real_errors() -> None:
    table = summarise_figures(judge_real_runs())
    stated = table[table["within_2u_percent"].notna()]
    assert stated["within_2u_percent"].between(85.0, 100.0).all()
    # Within a set-up, the trials' mean error removed, the uncertainty is neither small nor lazy.
    assert 90.0 <= stated["within_2u_repeat_percent"].mean() <= 99.5


# --- The script itself ---------------------------------------------------------------------------

SIDES_OF_SIX = ["left", "right"] * 3
TRUE_TOUCHDOWN_S = np.array([1.0, 1.2, 1.4, 1.6, 1.8, 2.0])


def make_true_steps(**summarise_figures: object) -> pd.DataFrame:
    """Six true contacts; what is not given is unknown."""
    table = {"step": np.arange(1, 7), "side": SIDES_OF_SIX, "touchdown_s": TRUE_TOUCHDOWN_S}
    table["toe_off_s"] = TRUE_TOUCHDOWN_S + 0.12
    return pd.DataFrame({"step_length_m": 2.0, **table, **summarise_figures})


def make_true_run(**summarise_figures: object) -> Truth:
    time_s = np.arange(0.5, 2.5, 0.001)
    curves = {"time_s": time_s}
    for side in ("left", "right"):
        curves[f"foot_pitch_{side}_deg"] = 30.0 * np.sin(20.0 * time_s)
    return Truth(make_true_steps(**summarise_figures), pd.DataFrame(curves), {}, 0.9, 2.2)


def make_measured(
    steps: pd.DataFrame, pitch_error_deg: float = 0.0, distance: Distance | None = None
) -> Result:
    """A result that holds these steps and nothing else; uncertainties not given are 1."""
    table = pd.DataFrame(np.nan, steps.index, step_table_columns(), dtype=float).astype(
        {"side": object}
    )
    table[[f"{name}_{u}" for name in FIGURES for u in ("u", "u_repeat")]] = 1.0
    table[list(steps)] = steps
    curves = make_true_run().curves.copy()
    for side in ("left", "right"):
        curves[f"foot_pitch_{side}_deg"] += pitch_error_deg
    table["phase"] = "upright"
    told = {} if distance is None else {"by hand": distance}
    return cast(Result, SimpleNamespace(run="by hand", steps=table, curves=curves, distances=told))


def test_bias_scatter_and_coverage_are_those_of_errors_put_in_by_hand() -> None:
    # Sum 12, mean 2; squares about the mean 1 + 9 + 4 + 1 + 9 + 4 = 28; squares 28 + 6 * 4 = 52.
    error_deg = np.array([1.0, 5.0, 4.0, 3.0, -1.0, 0.0])
    shin = np.full(6, 90.0)
    steps = make_true_steps(
        shin_angle_touchdown_deg=shin + error_deg, shin_angle_touchdown_deg_u=1.5
    )
    judged = judge(make_measured(steps), make_true_run(shin_angle_touchdown_deg=shin), "by hand")
    row = summarise_figures((judged,)).loc["shin_angle_touchdown_deg"]
    assert (row["n"], row["missing"]) == (6, 0)
    assert row["bias"] == pytest.approx(2.0)
    assert row["sd"] == pytest.approx((28.0 / 6.0) ** 0.5)
    assert row["rmse"] == pytest.approx((52.0 / 6.0) ** 0.5)
    assert row["worst"] == pytest.approx(5.0)
    assert row["median_u"] == 1.5
    assert row["within_2u_percent"] == pytest.approx(100.0 * 4 / 6)  # 1, 3, -1 and 0 of 3 deg


def test_an_error_of_no_known_uncertainty_is_not_covered_and_a_missing_figure_counts() -> None:
    shin = np.array([90.0, 91.0, np.nan, 93.0, 94.0, 95.0])
    u = np.array([1.0, np.nan, 1.0, 1.0, 1.0, 1.0])
    steps = make_true_steps(shin_angle_touchdown_deg=shin, shin_angle_touchdown_deg_u=u)
    truth = make_true_run(shin_angle_touchdown_deg=[90.0, 91.0, 92.0, 93.0, 94.0, np.nan])
    row = summarise_figures((judge(make_measured(steps), truth, "by hand"),)).loc[
        "shin_angle_touchdown_deg"
    ]
    assert (row["n"], row["missing"]) == (4, 1)
    assert row["within_2u_percent"] == pytest.approx(75.0)


def test_steps_missed_and_invented_are_told() -> None:
    steps = make_true_steps().drop(index=3)
    extra = steps.iloc[[1]].assign(touchdown_s=1.49)
    judged = judge(
        make_measured(pd.concat((steps, extra), ignore_index=True)), make_true_run(), "by hand"
    )
    assert (judged.real_steps, judged.found, judged.invented) == (6, 5, 1)


def test_matching_is_one_to_one_nearest_first_and_by_side() -> None:
    truth = make_true_steps()
    steps = pd.DataFrame(
        {
            "side": ["left", "left", "right", "right", "left"],
            "touchdown_s": [0.99, 1.02, 1.0, 1.279, 1.481],
        }
    )
    # The first left is nearest to the true one at 1.0, so that at 1.02 has none left; a right at
    # 1.0 is no left; 79 ms match and 81 ms do not.
    assert match_steps(steps, truth) == [(0, 0), (3, 1)]


def test_steps_outside_the_judged_stretch_are_neither_found_nor_invented() -> None:
    truth = replace(make_true_run(), valid_from_s=1.1, valid_to_s=1.9)
    judged = judge(make_measured(make_true_steps()), truth, "by hand")
    assert (judged.real_steps, judged.found, judged.invented) == (4, 4, 0)


def test_foot_pitch_curve_and_way_are_those_put_in_by_hand() -> None:
    length = np.array([2.0, 2.1, 1.9, 2.2, 2.0, np.nan])
    result = make_measured(make_true_steps(step_length_m=length), pitch_error_deg=-1.25)
    effort = np.array([True, True, True, True, False, False])
    judged = judge(result, make_true_run(), "by hand", effort)
    assert judged.pitch_swing_rms_deg == pytest.approx(1.25)
    assert judged.way_m == pytest.approx((8.2, 8.0))
    rows = list_whole_run_rows([judged]).set_index("figure")
    assert rows.loc["way_of_effort_percent", "bias"] == pytest.approx(2.5)
    assert rows.loc["foot_pitch_swing_curve_deg", "rmse"] == pytest.approx(1.25)
    everywhere = judge(result, make_true_run(), "by hand", np.ones(6, dtype=bool))
    assert np.isnan(everywhere.way_m[0])  # a way with a step missing is no way
    assert (
        list_whole_run_rows([everywhere]).set_index("figure").loc["way_of_effort_percent", "n"] == 0
    )


def test_distance_is_held_against_the_way_between_the_same_contacts() -> None:
    # Phase is upright throughout: the distance is that of all five steps, truly 10 m.
    told = Distance(9.7, 0.1, {})
    judged = judge(make_measured(make_true_steps(), distance=told), make_true_run(), "by hand")
    assert judged.distance_m == pytest.approx((9.7, 0.1, 10.0))
    row = list_whole_run_rows([judged]).set_index("figure").loc["distance_of_effort_m"]
    assert row["bias"] == pytest.approx(-0.3)
    assert row["within_2u_percent"] == 0.0
    # Without the fourth contact the package's distance is of other contacts than the truth's.
    broken = make_true_steps().drop(index=3).reset_index(drop=True)
    judged = judge(make_measured(broken, distance=told), make_true_run(), "by hand")
    assert np.isnan(judged.distance_m.true_m)


def test_bars_are_met_at_the_bar_and_not_beyond_it() -> None:
    table = pd.DataFrame(
        {
            "figure": ["steps_found", "steps_invented", "touchdown_s", "toe_off_s", "shin"],
            "n": [198, 1, 198, 198, 198],
            "missing": [1, 0, 0, 0, 0],
            "bias": [np.nan, np.nan, -0.004, 0.0041, 0.1],
            "sd": [np.nan, np.nan, 0.006, 0.001, 0.1],
            "rmse": [np.nan] * 5,
            "within_2u_percent": [np.nan, np.nan, 90.0, 99.1, 89.9],
            "within_2u_repeat_percent": [np.nan, np.nan, 90.0, 99.1, 89.9],
        }
    )
    bars = {**BARS["treadmill"], "steps_found": Bar(missing=0.005)}
    judged = add_bars(table, bars, 199).set_index("figure")
    assert judged["met"].tolist() == ["no", "no", "yes", "no", ""]  # 1 of 199 is 0.503 %
    assert judged["u_met"].tolist() == ["", "", "yes", "yes", "no"]
    assert judged["repeat_met"].tolist() == ["", "", "yes", "no", "no"]
    more = add_bars(table, bars, 200).set_index("figure")
    assert more.loc["steps_found", "met"] == "yes"


def test_groups_are_chosen_by_pattern_and_unknown_ones_refused() -> None:
    names = [group.name for group in choose_groups(["real-?0N", "curve"])]
    assert names == ["real-10N", "real-50N", "curve"]
    with pytest.raises(ValueError, match="no group is called 'reel'"):
        choose_groups(["curve", "reel"])


def test_cases_that_share_a_motion_are_made_together() -> None:
    groups = tuple(choose_groups(["sim-?00Hz", "sim-shank-only"]))
    batches = Sweep(groups, 3, 0, 7).list_batches()
    assert [{number for _, number, _ in batch} for batch in batches] == [{0}, {1}, {2}]
    assert all({r for r, _, _ in batch} == {g.recipe for g in groups} for batch in batches)


def test_command_writes_a_table_per_group_that_does_not_depend_on_workers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["--group", "sim-100Hz", "--count", "1", "--seed", str(SEED), "--csv-dir"]
    assert main([*asked, str(tmp_path), "--jobs", "2"]) == 0
    assert "1 runs" in capsys.readouterr().out
    written = pd.read_csv(tmp_path / "sim-100Hz.csv").set_index("figure")
    here = summarise_runs([judge_case(GROUPS["sim-100Hz"].recipe, 0, SEED)]).set_index("figure")
    common = ["n", "missing", "bias", "rmse", "within_2u_percent"]
    pd.testing.assert_frame_equal(
        written.loc[here.index, common], here[common], check_dtype=False, rtol=1e-6
    )
    line = pd.read_csv(tmp_path / "summary.csv").iloc[0]
    assert line["group"] == "sim-100Hz"
    assert line["shin_rmse_deg"] == pytest.approx(here.loc["shin_angle_touchdown_deg", "rmse"])


# --- Cases ---------------------------------------------------------------------------------------


def test_a_lean_in_standing_is_in_the_signals_and_in_the_stated_truth() -> None:
    recipes = [replace(Recipe("sprint", "ideal", 100.0), lean=lean) for lean in LEANS]
    upright, unstated, stated = (make_case(recipe, 0, SEED) for recipe in recipes)
    shin = "shin_angle_touchdown_deg"
    # In the run nobody leans: only what it is told against differs.
    running = (upright.truth.steps["gait"] == "run").to_numpy()
    true = [case.truth.steps[shin].to_numpy()[running] for case in (upright, unstated, stated)]
    np.testing.assert_allclose(true[1], true[0] + LEAN_DEG, atol=1e-9)
    np.testing.assert_allclose(true[2], true[0], atol=1e-9)
    for case in (unstated, stated):
        start = case.truth.curves.iloc[200]
        assert start["dorsiflexion_left_deg"] == pytest.approx(0.0, abs=0.6)
    # Gravity at the shank turns by the lean: forward 4 and aside 3 deg make 5 deg.
    rest = [
        case.recording.logs["left_shank"].accel_mps2[:100].mean(axis=0)
        for case in (upright, unstated)
    ]
    cosine = rest[0] @ rest[1] / np.prod([np.linalg.norm(r) for r in rest])
    assert np.degrees(np.arccos(cosine)) == pytest.approx(
        np.hypot(LEAN_DEG, LEAN_ASIDE_DEG), abs=0.1
    )
    assert (
        unstated.recording.athlete.standing_lean_deg,
        stated.recording.athlete.standing_lean_deg,
    ) == (0.0, LEAN_DEG)


def test_steps_of_the_effort_end_where_the_distance_does() -> None:
    case = make_case(Recipe("sprint", "ideal", 100.0), 0, SEED)
    assert case.effort is not None
    true = select_judged_steps(case.truth)
    distance_m = case.recording.run.distance_m
    assert distance_m is not None
    way_m = true["step_length_m"].to_numpy()[case.effort].sum()
    # From the first touchdown, up to a metre beyond the start line, to one step past the end.
    assert distance_m - 2.0 < way_m < distance_m + 3.0
    assert set(case.labels["phase"]) == {"effort", "slowing"}
    assert not case.effort[-1]
