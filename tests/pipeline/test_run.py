"""The whole method on whole recordings: what a user sees when all is well, with any sensors."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.errors import RunError
from imuproc.core.recording import Athlete, Recording, Run, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import SITES, Site
from imuproc.estimators.body_line import BODY_LINE
from imuproc.pipeline.settings import Settings
from imuproc.synth.long import make_long_motion, record_long
from imuproc.synth.runs import make_motion, make_rig
from imuproc.synth.truth import Truth
from tests.pipeline.whole_runs import (
    ANKLE,
    BETWEEN_LEGS,
    LENGTH,
    NONE,
    PITCH,
    SHIN,
    missing,
    run_flags,
)
from tests.simulated import (
    USUAL,
    change_logs,
    keep_sites,
    list_flag_names,
    make_result,
    make_run,
    match_rows,
    plan_run,
    rename_sites,
    select_running,
)

# --- A sound run ----------------------------------------------------------------------------------


def test_a_sound_run_has_its_steps_and_no_flags_of_the_run(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    result, steps = make_result(USUAL), usual[1]
    assert result.steps["side"].tolist() == steps["side"].tolist()
    assert run_flags(result) == set()
    assert missing(result) <= {f"{name}{end}" for name in BODY_LINE for end in ("", "_u")}
    stages = [entry.stage for entry in result.history]
    for stage in ("conditioning.timebase", "conditioning.calibration", "motion.body"):
        assert stage in stages
    assert stages[-1] == "pipeline.table"


def test_curves_pass_through_the_figures_of_the_table() -> None:
    result = make_result(USUAL)
    for side in ("left", "right"):
        own = result.steps[result.steps["side"] == side]
        for name in ("shin_angle", "foot_pitch", "dorsiflexion"):
            curve = result.curves[f"{name}_{side}_deg"]
            read = np.interp(own["touchdown_s"], result.curves["time_s"], curve)
            figure = own[f"{name}_touchdown_deg"]
            np.testing.assert_allclose(read[figure.notna()], figure.dropna(), atol=1e-6)


def test_processing_leaves_the_recording_alone_and_gives_the_same_again(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording = usual[0]
    copies = change_logs(
        recording,
        lambda log: replace(
            log,
            time_s=log.time_s.copy(),
            accel_mps2=log.accel_mps2.copy(),
            gyro_radps=log.gyro_radps.copy(),
        ),
    )
    again = imuproc.process(copies, Settings())
    pd.testing.assert_frame_equal(again.steps, make_result(USUAL).steps)
    for site, log in recording.logs.items():
        assert np.array_equal(log.accel_mps2, copies.logs[site].accel_mps2)
        assert np.array_equal(log.gyro_radps, copies.logs[site].gyro_radps)
        assert np.array_equal(log.time_s, copies.logs[site].time_s)


def test_times_are_those_of_the_first_log() -> None:
    recording, _ = make_run(USUAL)
    late = change_logs(recording, lambda log: replace(log, time_s=log.time_s + 86_400.0))
    plain, later = make_result(USUAL).steps, imuproc.process(late).steps
    np.testing.assert_allclose(later["touchdown_s"], plain["touchdown_s"] + 86_400.0, atol=1e-6)
    np.testing.assert_allclose(
        later["shin_angle_touchdown_deg"], plain["shin_angle_touchdown_deg"], atol=1e-3
    )


# --- Missing sensors ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sites", "gone", "flags"),
    [
        (("left_shank", "right_shank"), PITCH | ANKLE | LENGTH, {"missing_foot"}),
        (("left_foot", "right_foot"), SHIN | ANKLE, {"missing_shank"}),
        (("left_shank", "left_foot"), BETWEEN_LEGS, {"missing_leg"}),
        (("right_shank",), PITCH | ANKLE | BETWEEN_LEGS, {"missing_foot", "missing_leg"}),
        (("right_foot",), SHIN | ANKLE | BETWEEN_LEGS, {"missing_shank", "missing_leg"}),
        (("left_shank", "left_foot", "right_shank"), NONE, {"missing_foot"}),
        (("left_foot", "right_shank"), ANKLE, {"missing_foot", "missing_shank"}),
    ],
    ids=lambda value: "+".join(value) if isinstance(value, tuple) else "",
)
def test_any_subset_of_sensors_gives_what_it_can(
    usual: tuple[Recording, pd.DataFrame],
    sites: tuple[Site, ...],
    gone: frozenset[str],
    flags: set[str],
) -> None:
    recording, steps = usual
    result = imuproc.process(keep_sites(recording, *sites))
    nothing = {*gone, *BODY_LINE}
    assert {name for name in missing(result) if not name.endswith("_u")} == nothing
    assert run_flags(result) == flags
    sides = {site.split("_")[0] for site in sites}
    assert set(result.steps["side"]) == sides
    own = steps[steps["side"].isin(sides)].reset_index(drop=True)
    found = len({column for _, column in match_rows(result.steps, own)})
    assert found >= 0.7 * len(own)


def test_a_sensor_that_no_one_wore_is_flagged() -> None:
    """The left sensors lay in the bag: they rest while the right leg runs."""

    def lying(log: SensorLog) -> SensorLog:
        if not log.site.startswith("left"):
            return log
        rest = np.arange(len(log.time_s)) % 800  # samples of quiet standing, again and again
        return replace(log, accel_mps2=log.accel_mps2[rest], gyro_radps=log.gyro_radps[rest])

    result = imuproc.process(change_logs(make_run(USUAL)[0], lying))
    assert set(result.steps["side"]) == {"right"}
    assert {"mounting_sign_unsure"} <= list_flag_names(result, "left_shank")
    assert {"mounting_sign_unsure"} <= list_flag_names(result, "left_foot")


def test_a_pelvis_sensor_adds_its_tilt() -> None:
    recording, truth = make_run(USUAL, SITES)
    result = imuproc.process(recording)
    assert result.steps["pelvis_tilt_touchdown_deg"].notna().all()
    motion = make_motion(USUAL)
    track = motion.bones["pelvis"]
    # Forward tilt: the pelvis' vertical axis leans towards X.
    tilt = np.degrees(np.arctan2(track.rotation[:, 0, 2], track.rotation[:, 2, 2]))
    steps = select_running(truth)
    first_s = min(s.touchdown_s for s in motion.schedule.stances if s.kind == "run")
    shift = steps["touchdown_s"].iloc[0] - first_s
    true = np.interp(steps["touchdown_s"] - shift, track.time_s, tilt)
    pairs = match_rows(result.steps, steps)
    rows, columns = [a for a, _ in pairs], [b for _, b in pairs]
    error = result.steps["pelvis_tilt_touchdown_deg"].to_numpy()[rows] - true[columns]
    assert np.sqrt(np.mean(error**2)) < 1.5


def test_sensors_above_the_knee_change_nothing_of_shanks_and_feet() -> None:
    recording, _ = make_run(USUAL, SITES)
    result, without = (
        imuproc.process(one) for one in (recording, keep_sites(recording, *SITES[:4]))
    )
    own = [c for c in result.steps if not c.startswith((*BODY_LINE, "flags"))]
    pd.testing.assert_frame_equal(result.steps[own], without.steps[own])
    assert without.steps[list(BODY_LINE)].isna().all(axis=None)
    assert result.steps[list(BODY_LINE)].iloc[2:-2].notna().all(axis=None)


def test_each_sensor_above_the_knee_gives_its_own_figures() -> None:
    recording, _ = make_run(USUAL, SITES)
    legs = SITES[:4]

    def found(*sites: Site) -> set[str]:
        steps = imuproc.process(keep_sites(recording, *legs, *sites)).steps
        return {name for name in BODY_LINE if steps[name].notna().any()}

    assert found("pelvis") == {name for name in BODY_LINE if name.startswith("pelvis")}
    assert all(name.startswith("trunk") for name in found("trunk"))
    of_thighs = {n for n in BODY_LINE if n.startswith(("thigh", "knee", "ankle", "hip_height"))}
    assert found("left_thigh", "right_thigh") == of_thighs
    bare = imuproc.process(keep_sites(recording, "left_foot", "right_foot", "left_thigh")).steps
    assert {name for name in BODY_LINE if bare[name].notna().any()} == {
        name for name in BODY_LINE if name.startswith("thigh")
    }  # a thigh without its shank tells no knee


def test_thighs_that_are_exchanged_are_told_and_give_no_figures() -> None:
    recording, _ = make_run(USUAL, SITES)
    swapped: dict[Site, Site] = {"left_thigh": "right_thigh", "right_thigh": "left_thigh"}
    crossed = rename_sites(recording, {site: swapped.get(site, site) for site in SITES})
    result = imuproc.process(crossed)
    for site in ("left_thigh", "right_thigh"):
        assert "thigh_apart" in list_flag_names(result, site)
    assert result.steps["thigh_angle_touchdown_deg"].isna().all()
    assert result.steps["shin_angle_touchdown_deg"].notna().all()


def test_a_pelvis_alone_says_what_it_lacks() -> None:
    recording, _ = make_run(USUAL, SITES)
    with pytest.raises(RunError, match="no sensor on a leg; at least one shank or foot is needed"):
        imuproc.process(keep_sites(recording, "pelvis"))


# --- Local gravity --------------------------------------------------------------------------------


def test_local_gravity_is_what_a_sensor_at_rest_is_held_to(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    """The simulated sensors read standard gravity; a place with 9.3 m/s² is not on Earth."""
    elsewhere = imuproc.process(replace(usual[0], gravity_mps2=9.3))
    assert "gravity_off" in run_flags(elsewhere)
    found = next(f.values for f in elsewhere.flags if f.name == "gravity_off")
    assert found["expected_mps2"] == 9.3


def test_local_gravity_enters_the_motion(usual: tuple[Recording, pd.DataFrame]) -> None:
    """Sensors at the equator (9.780 m/s², WGS84) read 0.27 % less; told so, speeds scale so."""
    equator = 9.7803253359
    share = equator / 9.80665
    there = change_logs(usual[0], lambda log: replace(log, accel_mps2=log.accel_mps2 * share))
    plain = make_result(USUAL)

    def off(result: Result, site: Site) -> float:
        expected = plain.motion.segments[site].velocity_mps * share
        return float(np.sqrt(np.mean((result.motion.segments[site].velocity_mps - expected) ** 2)))

    told, untold = imuproc.process(replace(there, gravity_mps2=equator)), imuproc.process(there)
    for site in ("left_foot", "right_foot"):
        assert off(told, site) < 0.5 * off(untold, site)
        assert off(told, site) < 0.003


# --- Long logs ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def long_log() -> tuple[Recording, Result, tuple[Truth, ...]]:
    """A jump, two sprints and walking back between them, in one log."""
    plans = [replace(plan_run(31, "crouch", 12.0), seed=seed) for seed in (1, 2)]
    rig = make_rig("mid", 500.0, np.random.default_rng(4))
    logs, truths = record_long(make_long_motion(plans, 5), rig, np.random.default_rng(6))
    recording = Recording("s", Athlete("R00", stature_m=1.8), Run("R00-01", start="crouch"), logs)
    return recording, imuproc.process(recording), truths


def test_runs_of_a_long_log_are_found_apart(
    long_log: tuple[Recording, Result, tuple[Truth, ...]],
) -> None:
    _, result, truths = long_log
    assert result.steps["run"].unique().tolist() == ["R00-01_1", "R00-01_2"]
    for (_, own), truth in zip(result.steps.groupby("run"), truths, strict=True):
        steps = select_running(truth)
        assert own["step"].tolist() == list(range(1, len(own) + 1))
        assert own["side"].tolist() == steps["side"].tolist()
        apart = own["touchdown_s"].to_numpy() - steps["touchdown_s"].to_numpy()
        assert np.abs(apart).max() < 0.06
        assert own["phase"].iloc[0] == "drive"


def test_neither_the_jump_nor_walking_is_in_the_table(
    long_log: tuple[Recording, Result, tuple[Truth, ...]],
) -> None:
    _, result, truths = long_log
    inside = [
        result.steps["touchdown_s"].between(truth.valid_from_s - 0.1, truth.valid_to_s + 0.1)
        for truth in truths
    ]
    assert np.logical_or.reduce(inside).all()
    assert run_flags(result) == set()


def test_curves_of_a_long_log_say_which_run_they_are_of(
    long_log: tuple[Recording, Result, tuple[Truth, ...]],
) -> None:
    _, result, _ = long_log
    for run, own in result.steps.groupby("run"):
        curve = result.curves[result.curves["run"] == run]
        assert curve["time_s"].is_monotonic_increasing
        assert curve["time_s"].iloc[0] < own["touchdown_s"].iloc[0]
        assert curve["time_s"].iloc[-1] > own["toe_off_s"].iloc[-1]
