"""The step table's columns are those that were agreed on, whoever writes them."""

import numpy as np
import pandas as pd

import imuproc
from imuproc.core.columns import (
    BY_NAME,
    COLUMNS,
    FIGURES,
    repeat_name,
    step_table_columns,
    uncertainty_name,
)
from imuproc.core.sites import SITES
from imuproc.core.uncertainty import PARTS, PARTS_OF, SET_UP
from imuproc.estimators.columns import EstimatorSettings, compute_all_quantities
from imuproc.estimators.phase import PHASES
from tests.simulated import USUAL, keep_sites, make_result, make_run

AGREED = [
    *("session", "athlete", "run", "step", "side", "phase", "phase_alternative"),
    *("touchdown_s", "toe_off_s", "contact_time_s", "flight_time_s", "step_time_s"),
    "step_frequency_hz",
    *("shin_angle_touchdown_deg", "shin_angle_toe_off_deg", "ankle_ahead_of_knee_m"),
    *("foot_pitch_touchdown_deg", "foot_pitch_toe_off_deg"),
    *("foot_pitch_swing_min_deg", "foot_pitch_swing_max_deg"),
    *("dorsiflexion_touchdown_deg", "dorsiflexion_swing_min_deg", "dorsiflexion_swing_mean_deg"),
    *("pelvis_tilt_touchdown_deg", "pelvis_tilt_toe_off_deg", "pelvis_tilt_stance_range_deg"),
    *("pelvis_drop_stance_deg", "pelvis_rotation_range_deg"),
    *("hip_height_touchdown_m", "hip_height_stance_min_m"),
    *("trunk_lean_touchdown_deg", "trunk_lean_toe_off_deg"),
    *("waist_bend_touchdown_deg", "trunk_against_shin_touchdown_deg"),
    *("thigh_angle_touchdown_deg", "thigh_angle_toe_off_deg", "thigh_angle_swing_max_deg"),
    *("knee_angle_touchdown_deg", "knee_angle_stance_min_deg", "knee_angle_toe_off_deg"),
    "hip_extension_toe_off_deg",
    *("ankle_ahead_of_hip_touchdown_m", "ankle_ahead_of_hip_toe_off_m"),
    *("step_length_m", "speed_mps", "flags"),
]
KEYS = AGREED[:7]


def test_columns_stand_in_the_agreed_order_with_their_uncertainties_behind() -> None:
    measured = [name for name in AGREED if name not in KEYS and name != "flags"]
    behind = [f"{name}_{u}" for u in ("u", "u_repeat") for name in measured]
    assert step_table_columns() == AGREED + behind


def test_every_figure_has_a_unit_in_its_name_a_meaning_and_a_range() -> None:
    for name in FIGURES:
        column = BY_NAME[name]
        ending = {"s": "_s", "Hz": "_hz", "deg": "_deg", "m": "_m", "m/s": "_mps"}[column.unit]
        assert name.endswith(ending)
        assert column.meaning.endswith(".")
        assert column.low < column.high
        if name not in ("touchdown_s", "toe_off_s"):  # the log's own clock may begin anywhere
            assert np.isfinite([column.low, column.high]).all()


def test_a_result_has_exactly_these_columns() -> None:
    result = make_result(USUAL)
    assert list(result.steps.columns) == step_table_columns()
    assert result.steps["step"].tolist() == list(range(1, len(result.steps) + 1))
    assert set(result.steps["side"]) == {"left", "right"}
    assert set(result.steps["phase"]) <= set(PHASES)
    for name in FIGURES:
        figure, spread = result.steps[name], result.steps[uncertainty_name(name)]
        within = result.steps[repeat_name(name)]
        assert figure.dtype == np.float64
        assert (figure.isna() == spread.isna()).all(), name
        assert (figure.isna() == within.isna()).all(), name
        assert (within.dropna() > 0.0).all(), name
        assert (within.dropna() <= spread.dropna()).all(), name


def test_the_estimators_give_every_figure_and_no_other() -> None:
    result = make_result(USUAL)
    athlete = result.conditioned.recording.athlete
    figures = compute_all_quantities(
        result.motion, result.contacts, athlete, EstimatorSettings(), {}
    ).by_name
    assert set(figures) == set(FIGURES)


def test_uncertainty_parts_add_up_to_what_the_table_says() -> None:
    result = make_result(USUAL)
    assert tuple(result.uncertainty) == FIGURES
    for name, parts in result.uncertainty.items():
        total = np.sqrt((parts**2).sum(axis=1, skipna=False))
        pd.testing.assert_series_equal(
            result.steps[uncertainty_name(name)], total, check_names=False, rtol=1e-9
        )
        own = parts.drop(columns=[part for part in SET_UP if part in parts])
        within = np.sqrt((own**2).sum(axis=1, skipna=False))
        pd.testing.assert_series_equal(
            result.steps[repeat_name(name)], within, check_names=False, rtol=1e-9
        )


def test_parts_of_uncertainties_are_those_in_the_list() -> None:
    result = make_result(USUAL, SITES)  # with all sensors: every figure is there
    athlete = result.conditioned.recording.athlete
    figures = compute_all_quantities(
        result.motion, result.contacts, athlete, EstimatorSettings(), {}
    ).by_name
    for name in FIGURES:
        assert set(figures[name].parts) == set(PARTS_OF[name]), name
        assert tuple(result.uncertainty[name].columns) == PARTS_OF[name]
    assert {part for parts in PARTS_OF.values() for part in parts} == set(PARTS)
    assert all(meaning.endswith(".") for meaning in PARTS.values())


def test_a_figure_that_is_missing_has_parts_that_are_missing() -> None:
    recording, _ = make_run(USUAL)
    result = imuproc.process(keep_sites(recording, "left_shank", "left_foot", "right_shank"))
    for name, parts in result.uncertainty.items():
        gone = result.steps[name].isna().to_numpy()
        assert (parts.isna().to_numpy() == gone[:, None]).all(), name
    right = (result.steps["side"] == "right").to_numpy()
    assert result.uncertainty["foot_pitch_touchdown_deg"][right].isna().all(axis=None)
    assert result.uncertainty["foot_pitch_touchdown_deg"][~right].notna().all(axis=None)


def test_no_column_is_explained_twice() -> None:
    assert len(BY_NAME) == len(COLUMNS)
    assert len({column.meaning for column in COLUMNS}) == len(COLUMNS)
