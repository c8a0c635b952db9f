"""The step table: what can be trusted is in it, what cannot is missing and flagged."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from imuproc.core.columns import FIGURES, step_table_columns
from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import Motion
from imuproc.core.uncertainty import PARTS_OF
from imuproc.pipeline.joining import join_results, name_results
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.table import make_result
from tests.estimators.made_motion import TIME_S, conditioned, inward_roll, motion, segment, steady

STEPS = steady("left", 0.25, 0.12, 8)


def posture(shin_deg: float = 70.0, pitch_deg: float = -10.0, u_rad: float = 0.01) -> Motion:
    """All four segments kept in one posture; each foot goes 3.6 m from contact to contact."""
    parts = []
    for site in ("left_shank", "left_foot", "right_shank", "right_foot"):
        angle = shin_deg - 90.0 if "shank" in site else pitch_deg
        velocity = np.zeros((len(TIME_S), 3))
        velocity[:, 0] = 7.2
        flat = np.full(len(TIME_S), np.radians(angle))
        roll = inward_roll(STEPS, site.split("_")[0], 12.0) if "foot" in site else None
        parts.append(segment(site, flat, velocity, u_rad, roll))
    return motion(*parts)


def table(moved: Motion | None = None, steps: Contacts = STEPS, **recording):
    """Result of the made-up motion."""
    moved = posture() if moved is None else moved
    based = conditioned(**recording.pop("gaps", {}))
    segments = {site: based.segments[site] for site in moved.segments if site in based.segments}
    based = replace(based, segments=segments)
    if recording:
        run = replace(based.recording.run, **recording)
        based = replace(based, recording=replace(based.recording, run=run))
    return make_result(based, steps, moved, Settings())


def flags_at(result, row: int) -> set[str]:
    return set(filter(None, result.steps["flags"].iloc[row].split(";")))


def run_flags(result) -> list[tuple[str, str]]:
    return [(flag.name, flag.site) for flag in result.flags if flag.step is None]


def test_a_sound_run_has_its_figures_and_no_flags() -> None:
    result = table()
    assert list(result.steps.columns) == step_table_columns()
    assert result.flags == ()
    assert result.steps["flags"].tolist() == [""] * 8
    np.testing.assert_allclose(result.steps["contact_time_s"], 0.12)
    np.testing.assert_allclose(result.steps["shin_angle_touchdown_deg"], 70.0)
    np.testing.assert_allclose(result.steps["step_length_m"][:-1], 1.8, atol=0.01)
    assert result.steps["session"].unique().tolist() == ["harbour"]
    assert result.steps["athlete"].unique().tolist() == ["R07"]
    assert result.steps["run"].unique().tolist() == ["R07-01"]


@pytest.mark.parametrize(
    ("shin_deg", "missing"), [(4.0, True), (12.0, False), (95.0, False), (155.0, True)]
)
def test_an_implausible_angle_is_withheld_and_flagged(shin_deg: float, missing: bool) -> None:
    result = table(posture(shin_deg=shin_deg, pitch_deg=shin_deg - 90.0))
    name = "shin_angle_touchdown_deg"
    assert result.steps[name].isna().all() == missing
    assert result.steps[f"{name}_u"].isna().all() == missing
    assert ("implausible" in flags_at(result, 3)) == missing
    # The other figures stay.
    assert result.steps["contact_time_s"].notna().all()


def test_an_implausible_contact_is_withheld_where_it_is_and_nowhere_else() -> None:
    off = STEPS.toe_off_s.copy()
    off[4] = STEPS.touchdown_s[4] + 0.02
    result = table(steps=replace(STEPS, toe_off_s=off))
    assert result.steps["contact_time_s"].isna().tolist() == [k == 4 for k in range(8)]
    assert flags_at(result, 4) == {"implausible"}
    assert result.steps["flags"].astype(bool).sum() == 1
    assert result.steps["toe_off_s"].notna().all()  # the event itself stays, for people to look at


def test_an_angle_that_could_be_anything_is_withheld_with_what_follows_from_it() -> None:
    result = table(posture(u_rad=np.radians(8.0)))
    for name in ("shin_angle_touchdown_deg", "dorsiflexion_swing_mean_deg"):
        assert result.steps[name].isna().all()
    assert result.steps["ankle_ahead_of_knee_m"].isna().all()
    assert flags_at(result, 3) == {"drift_large"}
    assert result.steps["step_frequency_hz"].notna().any()


def test_events_that_could_be_anywhere_take_the_times_with_them() -> None:
    vague = replace(STEPS, touchdown_u_s=np.full(8, 0.05))
    result = table(steps=vague)
    for name in ("contact_time_s", "flight_time_s", "step_time_s", "step_frequency_hz"):
        assert result.steps[name].isna().all(), name
    assert "event_unsure" in flags_at(result, 3)
    # Touchdown stays, with its uncertainty: it is the time axis of the table.
    np.testing.assert_allclose(result.steps["touchdown_s_u"], 0.05)


def test_a_doubtful_event_is_flagged_before_it_is_withheld() -> None:
    u = STEPS.toe_off_u_s.copy()
    u[2] = 0.015
    result = table(steps=replace(STEPS, toe_off_u_s=u))
    assert flags_at(result, 2) == {"event_unsure"}
    assert result.steps["contact_time_s"].notna().all()


def test_a_missed_step_is_flagged_on_the_step_before_it() -> None:
    holed = steady("left", 0.25, 0.12, 13).take(np.delete(np.arange(13), 6))
    result = table(steps=holed)
    assert np.flatnonzero(result.steps["flags"]).tolist() == [5]
    assert flags_at(result, 5) == {"step_missed"}
    gone = result.steps.loc[5, ["flight_time_s", "step_time_s", "step_length_m", "speed_mps"]]
    assert gone.isna().all()


def test_a_missing_sensor_is_a_flag_and_no_fault_of_the_steps() -> None:
    whole = posture()
    for lost, flag in (("left_foot", "missing_foot"), ("right_shank", "missing_shank")):
        kept = {site: one for site, one in whole.segments.items() if site != lost}
        result = table(replace(whole, segments=kept))
        assert run_flags(result) == [(flag, lost)]
        assert result.steps["flags"].tolist() == [""] * 8


def test_of_one_leg_alone_no_step_counts_as_missed() -> None:
    whole = posture()
    kept = {site: one for site, one in whole.segments.items() if site.startswith("left")}
    result = table(replace(whole, segments=kept), STEPS.take(STEPS.side == "left"))
    assert run_flags(result) == [("missing_leg", "")]
    assert result.flags[0].values == {"side": "right"}
    assert result.steps["flags"].tolist() == [""] * 4
    assert result.steps["contact_time_s"].notna().all()
    for name in ("flight_time_s", "step_time_s", "step_frequency_hz", "step_length_m", "speed_mps"):
        assert result.steps[name].isna().all(), name


def test_a_gap_is_flagged_on_its_step_and_cuts_the_curve() -> None:
    result = table(gaps={"left_foot": (11.2, 11.35)})
    assert flags_at(result, 4) == {"gap", "drift_large"}
    assert np.isnan(result.steps["foot_pitch_touchdown_deg"][4])
    assert np.isfinite(result.steps["shin_angle_touchdown_deg"]).all()
    curve = result.curves.set_index("time_s")
    assert curve.loc[11.21:11.34, "foot_pitch_left_deg"].isna().all()
    assert curve.loc[11.21:11.34, "shin_angle_left_deg"].notna().all()
    assert curve["foot_pitch_right_deg"].notna().all()


@pytest.mark.parametrize(
    ("start", "surface", "drive"),
    [("crouch", "track", True), ("rolling", "track", False), ("standing", "treadmill", False)],
)
def test_a_rolling_start_and_a_treadmill_have_no_drive_phase(start, surface, drive) -> None:
    gaining = 4.0 + 5.0 * (1.0 - np.exp(-(TIME_S - 10.4) / 0.9))
    velocity = np.stack((gaining, 0 * gaining, 0 * gaining), axis=1)
    feet = [segment(f"{s}_foot", np.zeros(len(TIME_S)), velocity) for s in ("left", "right")]
    result = table(motion(*feet), start=start, surface=surface)
    assert ("drive" in set(result.steps["phase"])) == drive


def test_the_distance_of_the_effort_is_the_sum_of_its_step_lengths() -> None:
    result = table()
    assert list(result.distances) == ["R07-01"]
    distance = result.distances["R07-01"]
    assert distance.value_m == pytest.approx(result.steps["step_length_m"].sum())
    assert distance.u_m == pytest.approx(np.hypot.reduce(list(distance.parts_m.values())))
    assert set(distance.parts_m) == set(PARTS_OF["step_length_m"])


def test_slowing_does_not_count_as_distance_of_the_effort() -> None:
    fading = np.interp(TIME_S, [TIME_S[0], 11.4, 12.4], [7.2, 7.2, 5.0])
    velocity = np.stack((fading, 0 * fading, 0 * fading), axis=1)
    feet = [segment(f"{s}_foot", np.zeros(len(TIME_S)), velocity) for s in ("left", "right")]
    result = table(motion(*feet))
    effort = result.steps[result.steps["phase"] != "slowing"]
    assert 2 < len(effort) < len(result.steps)
    assert result.distances["R07-01"].value_m == pytest.approx(effort["step_length_m"].sum())


def test_a_missing_length_leaves_the_distance_open() -> None:
    holed = steady("left", 0.25, 0.12, 13).take(np.delete(np.arange(13), 6))
    result = table(steps=holed, distance_m=5.0)
    assert result.distances == {}
    assert run_flags(result) == []


@pytest.mark.parametrize(
    ("run", "flag"),
    [
        ({"distance_m": 13.0}, None),  # seven steps of 1.8 m
        ({"distance_m": 24.0}, "distance_differs"),
        ({"distance_m": 5.0}, "distance_differs"),
        ({"surface": "treadmill", "distance_m": 24.0}, None),
        ({"surface": "treadmill", "belt_speed_mps": 7.2}, None),
        ({"surface": "treadmill", "belt_speed_mps": 6.0}, "belt_speed_differs"),
    ],
)
def test_what_the_session_file_states_is_held_against_the_feet(run, flag: str | None) -> None:
    assert run_flags(table(**run)) == ([] if flag is None else [(flag, "")])


def test_runs_of_one_log_are_numbered_and_their_rows_kept_apart() -> None:
    first = table()
    second = table(steps=steady("right", 0.24, 0.11, 3))
    joined = join_results(list(name_results([first, second], "R07-01")))
    assert joined.steps["run"].tolist() == ["R07-01_1"] * 8 + ["R07-01_2"] * 3
    assert joined.steps["step"].tolist() == [*range(1, 9), 1, 2, 3]
    assert joined.run == "R07-01"
    assert joined.curves["run"].unique().tolist() == ["R07-01_1", "R07-01_2"]
    assert len(joined.uncertainty["contact_time_s"]) == 11
    assert joined.distances == {"R07-01_1": first.distances["R07-01"]}
    assert second.distances == {}  # two lengths out of one stride are too uncertain
    values = joined.steps.drop(columns="run").iloc[8:].reset_index(drop=True)
    pd.testing.assert_frame_equal(values, second.steps.drop(columns="run"))


def test_a_single_run_keeps_its_own_name() -> None:
    only = table()
    (kept,) = name_results([only], "R07-01")
    assert join_results([kept]) is only


def test_what_was_withheld_has_no_uncertainty_either() -> None:
    result = table(posture(u_rad=np.radians(8.0)))
    for name in FIGURES:
        same = result.steps[name].isna() == result.steps[f"{name}_u"].isna()
        assert same.all(), name
        parts = result.uncertainty[name]
        assert (parts.isna().any(axis=1) == result.steps[name].isna()).all(), name


def test_contacts_unlike_any_data_are_told_once_and_cost_no_figure() -> None:
    outside = {"outside_evidence": np.array([1.0, 1.0, *np.zeros(6)])}
    result = table(steps=replace(STEPS, evidence={**STEPS.evidence, **outside}))
    assert result.flags == (RaisedFlag("outside_evidence", {"outside": 2, "steps": 8}),)
    assert result.steps["contact_time_s"].notna().all()


def test_what_a_set_up_shares_withholds_nothing() -> None:
    """30 ms and more within a set-up cost a contact time; against the truth they only widen it."""
    shared = {"touchdown_reference_u_s": np.full(8, 0.05)}
    result = table(steps=replace(STEPS, evidence={**STEPS.evidence, **shared}))
    assert result.steps["contact_time_s"].notna().all()
    assert (result.steps["contact_time_s_u"] > 0.05).all()
    assert (result.steps["contact_time_s_u_repeat"] < 0.01).all()
