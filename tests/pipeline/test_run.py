"""The whole method on whole recordings: what a user sees when all is well, and when it is not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.errors import RunError
from imuproc.core.recording import Athlete, Recording, Run, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import SITES, Site
from imuproc.pipeline.settings import Settings
from imuproc.synth.long import make_long, record_long
from imuproc.synth.runs import make_motion, make_rig
from imuproc.synth.sensors import GRADES
from imuproc.synth.truth import Truth
from tests.shared_data import needs_shared_data
from tests.simulated import (
    USUAL,
    between,
    errors,
    flag_names,
    made_result,
    made_run,
    matched,
    only,
    plan_of,
    renamed,
    running,
    with_logs,
)

NONE = frozenset[str]()
SHIN = {"shin_angle_touchdown_deg", "shin_angle_toe_off_deg", "ankle_ahead_of_knee_m"}
PITCH = {
    *("foot_pitch_touchdown_deg", "foot_pitch_toe_off_deg"),
    *("foot_pitch_swing_min_deg", "foot_pitch_swing_max_deg"),
}
ANKLE = {
    *("dorsiflexion_touchdown_deg", "dorsiflexion_swing_min_deg", "dorsiflexion_swing_mean_deg"),
}
LENGTH = {"step_length_m", "speed_mps"}
BETWEEN_LEGS = {"flight_time_s", "step_time_s", "step_frequency_hz", *LENGTH}
ANGLES = SHIN | PITCH | ANKLE


def run_flags(result: Result) -> set[str]:
    """Flags of the run itself, but for clipping, which most simulated sprints have."""
    return {f.name for f in result.flags if f.step is None} - {"accel_clipped", "gyro_clipped"}


def missing(result: Result) -> set[str]:
    """Figures that no step has."""
    return {name for name in result.steps if result.steps[name].isna().all()}


@pytest.fixture(scope="module")
def usual() -> tuple[Recording, pd.DataFrame]:
    """A sprint of 20 m and its true running steps."""
    recording, truth = made_run(USUAL)
    return recording, running(truth)


# --- A sound run ----------------------------------------------------------------------------------


def test_a_sound_run_has_its_steps_and_no_flags_of_the_run(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    result, steps = made_result(USUAL), usual[1]
    assert result.steps["side"].tolist() == steps["side"].tolist()
    assert run_flags(result) == set()
    assert missing(result) <= {"pelvis_tilt_touchdown_deg", "pelvis_tilt_touchdown_deg_u"}
    stages = [entry.stage for entry in result.history]
    for stage in ("conditioning.timebase", "conditioning.calibration", "motion.body"):
        assert stage in stages
    assert stages[-1] == "pipeline.table"


def test_curves_pass_through_the_figures_of_the_table() -> None:
    result = made_result(USUAL)
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
    copies = with_logs(
        recording,
        lambda log: replace(
            log,
            time_s=log.time_s.copy(),
            accel_mps2=log.accel_mps2.copy(),
            gyro_radps=log.gyro_radps.copy(),
        ),
    )
    again = imuproc.process(copies, Settings())
    pd.testing.assert_frame_equal(again.steps, made_result(USUAL).steps)
    for site, log in recording.logs.items():
        assert np.array_equal(log.accel_mps2, copies.logs[site].accel_mps2)
        assert np.array_equal(log.gyro_radps, copies.logs[site].gyro_radps)
        assert np.array_equal(log.time_s, copies.logs[site].time_s)


def test_times_are_those_of_the_first_log() -> None:
    recording, _ = made_run(USUAL)
    late = with_logs(recording, lambda log: replace(log, time_s=log.time_s + 86_400.0))
    plain, later = made_result(USUAL).steps, imuproc.process(late).steps
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
    result = imuproc.process(only(recording, *sites))
    nothing = {*gone, "pelvis_tilt_touchdown_deg"}
    assert {name for name in missing(result) if not name.endswith("_u")} == nothing
    assert run_flags(result) == flags
    sides = {site.split("_")[0] for site in sites}
    assert set(result.steps["side"]) == sides
    own = steps[steps["side"].isin(sides)].reset_index(drop=True)
    found = len({column for _, column in matched(result.steps, own)})
    assert found >= 0.7 * len(own)


def test_a_sensor_that_no_one_wore_is_flagged() -> None:
    """The left sensors lay in the bag: they rest while the right leg runs."""

    def lying(log: SensorLog) -> SensorLog:
        if not log.site.startswith("left"):
            return log
        rest = np.arange(len(log.time_s)) % 800  # samples of quiet standing, again and again
        return replace(log, accel_mps2=log.accel_mps2[rest], gyro_radps=log.gyro_radps[rest])

    result = imuproc.process(with_logs(made_run(USUAL)[0], lying))
    assert set(result.steps["side"]) == {"right"}
    assert {"mounting_sign_unsure"} <= flag_names(result, "left_shank")
    assert {"mounting_sign_unsure"} <= flag_names(result, "left_foot")


def test_a_pelvis_sensor_adds_its_tilt_and_changes_nothing_else() -> None:
    recording, truth = made_run(USUAL, SITES)
    result = imuproc.process(recording)
    assert result.steps["pelvis_tilt_touchdown_deg"].notna().all()
    motion = make_motion(USUAL)
    track = motion.bones["pelvis"]
    # Forward tilt: the pelvis' vertical axis leans towards X.
    tilt = np.degrees(np.arctan2(track.rotation[:, 0, 2], track.rotation[:, 2, 2]))
    steps = running(truth)
    first_s = min(s.touchdown_s for s in motion.schedule.stances if s.kind == "run")
    shift = steps["touchdown_s"].iloc[0] - first_s
    true = np.interp(steps["touchdown_s"] - shift, track.time_s, tilt)
    pairs = matched(result.steps, steps)
    rows, columns = [a for a, _ in pairs], [b for _, b in pairs]
    error = result.steps["pelvis_tilt_touchdown_deg"].to_numpy()[rows] - true[columns]
    assert np.sqrt(np.mean(error**2)) < 5.0
    without = imuproc.process(only(recording, *SITES[:4]))
    pd.testing.assert_frame_equal(
        result.steps.drop(columns=[c for c in result.steps if "pelvis" in c]),
        without.steps.drop(columns=[c for c in result.steps if "pelvis" in c]),
    )


def test_a_pelvis_alone_says_what_it_lacks() -> None:
    recording, _ = made_run(USUAL, SITES)
    with pytest.raises(RunError, match="no sensor on a leg; at least one shank or foot is needed"):
        imuproc.process(only(recording, "pelvis"))


# --- Quiet standing -------------------------------------------------------------------------------


def cut(recording: Recording, start_s: float, end_s: float) -> Recording:
    return with_logs(recording, lambda log: between(log, start_s, end_s))


def test_without_standing_before_the_one_after_sets_the_zero(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    late = cut(recording, steps["touchdown_s"].iloc[0] - 2.0, np.inf)  # the set hold is in it
    result = imuproc.process(late)
    assert run_flags(result) == {"no_standing_before"}
    assert_angles_right(result, steps)


def test_without_standing_after_the_one_before_sets_the_zero(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    result = imuproc.process(cut(recording, -np.inf, steps["toe_off_s"].iloc[-1] + 0.5))
    assert run_flags(result) == {"no_standing_after"}
    assert_angles_right(result, steps)


def assert_angles_right(result: Result, steps: pd.DataFrame) -> None:
    """Shin and foot angles of the effort near the truth: a wrong zero is tens of degrees off."""
    for name in ("shin_angle_touchdown_deg", "foot_pitch_touchdown_deg"):
        error = errors(result.steps[:12], steps, name)
        assert abs(np.nanmean(error)) < 3.0, name
        assert np.nanmax(np.abs(error)) < 6.0, name


@pytest.mark.parametrize("from_s", [-0.9, -2.0], ids=["no rest at all", "the set hold alone"])
def test_without_any_standing_times_are_given_and_angles_are_withheld(
    usual: tuple[Recording, pd.DataFrame], from_s: float
) -> None:
    recording, steps = usual
    start_s, end_s = steps["touchdown_s"].iloc[0] + from_s, steps["toe_off_s"].iloc[-1] + 0.3
    result = imuproc.process(cut(recording, start_s, end_s))
    assert run_flags(result) == {"no_standing"}
    assert missing(result) >= ANGLES | LENGTH
    assert len({column for _, column in matched(result.steps, steps)}) >= len(steps) - 2
    for name in ("touchdown_s", "contact_time_s"):
        assert result.steps[name].notna().sum() >= len(result.steps) - 1
        assert np.nanmedian(np.abs(errors(result.steps, steps, name))) < 0.02


def test_a_staggered_stance_held_until_a_standing_start_is_not_standing() -> None:
    """Nothing else is still in the log: its zero would be 35 deg wrong."""
    plan = plan_of(500 + len("standing"), "standing")
    recording, truth = made_run(plan)
    steps = running(truth)
    start_s, end_s = steps["touchdown_s"].iloc[0] - 2.2, steps["toe_off_s"].iloc[-1] + 0.3
    result = imuproc.process(cut(recording, start_s, end_s))
    assert run_flags(result) == {"no_standing"}
    assert missing(result) >= ANGLES
    detail = next(f.detail for f in result.flags if f.name == "no_standing")
    assert "but in another posture" in detail


# --- Swapped logs ---------------------------------------------------------------------------------

LEGS: dict[Site, Site] = {
    "left_shank": "right_shank",
    "right_shank": "left_shank",
    "left_foot": "right_foot",
    "right_foot": "left_foot",
}


def named(**changes: Site) -> Recording:
    """The usual run with some logs under other names."""
    same = {site: site for site in SITES[:4]}
    return renamed(made_run(USUAL)[0], {**same, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["shank", "foot"])
def test_shanks_or_feet_exchanged_are_refused(kind: str) -> None:
    crossed = {f"left_{kind}": f"right_{kind}", f"right_{kind}": f"left_{kind}"}
    with pytest.raises(RunError, match=r"left and right logs look swapped: left_shank \(.*right_"):
        imuproc.process(named(**crossed))  # type: ignore[arg-type]


def test_whole_legs_exchanged_are_flagged() -> None:
    result = imuproc.process(renamed(made_run(USUAL)[0], LEGS))
    assert run_flags(result) == {"sides_swapped"}
    detail = next(f.detail for f in result.flags if f.name == "sides_swapped")
    assert "feet in their place roll inward" in detail


def test_shank_and_foot_of_a_leg_exchanged_are_flagged() -> None:
    result = imuproc.process(named(left_shank="left_foot", left_foot="left_shank"))
    assert "segments_swapped" in run_flags(result)
    assert {"segments_swapped"} <= flag_names(result, "left_foot")


@pytest.mark.parametrize("start", ["three-point", "crouch", "standing", "rolling"])
def test_right_names_raise_no_alarm(start: str) -> None:
    result = made_result(plan_of(500 + len(start), start))  # type: ignore[arg-type]
    assert run_flags(result) == set()


@needs_shared_data
@pytest.mark.parametrize("number", [12, 29])
def test_real_runners_raise_no_alarm_and_have_no_drive_phase(number: int) -> None:
    """Real motion: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; here as if overground."""
    from scripts.real_motion import cases, make_recording

    recording, truth = make_recording(cases()[number], GRADES["mid"], 250.0, seed=number)
    result = imuproc.process(recording)
    assert run_flags(result) == set()
    assert "drive" not in set(result.steps["phase"])
    assert len({column for _, column in matched(result.steps, truth.steps)}) == len(truth.steps)


@needs_shared_data
def test_a_real_runners_legs_exchanged_are_flagged() -> None:
    from scripts.real_motion import cases, make_recording

    recording, _ = make_recording(cases()[18], GRADES["mid"], 250.0, seed=18)
    assert "sides_swapped" in run_flags(imuproc.process(renamed(recording, LEGS)))


# --- Gaps, rates ----------------------------------------------------------------------------------


def with_gap(recording: Recording, site: Site, start_s: float, end_s: float) -> Recording:
    """Samples of one sensor that are no numbers."""

    def torn(log: SensorLog) -> SensorLog:
        if log.site != site:
            return log
        hole = (log.time_s > start_s) & (log.time_s < end_s)
        accel, gyro = log.accel_mps2.copy(), log.gyro_radps.copy()
        accel[hole] = gyro[hole] = np.nan
        return replace(log, accel_mps2=accel, gyro_radps=gyro)

    return with_logs(recording, torn)


def assert_no_silent_error(result: Result, steps: pd.DataFrame, name: str, floor: float) -> None:
    """Every figure given is within three of its uncertainties, and a floor, of the truth."""
    pairs = matched(result.steps, steps)
    error = np.abs(errors(result.steps, steps, name))
    u = result.steps[f"{name}_u"].to_numpy()[[row for row, _ in pairs]]
    assert not (error > 3.0 * u + floor).any(), name


def test_a_short_gap_makes_its_step_uncertain_and_leaves_the_others(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    at = float(steps["touchdown_s"][6])
    side = steps["side"][6]
    result = imuproc.process(with_gap(recording, f"{side}_shank", at - 0.15, at - 0.05))  # type: ignore[arg-type]
    row = next(a for a, b in matched(result.steps, steps) if b == 6)
    assert "gap" in result.steps["flags"][row]
    assert np.isnan(result.steps["shin_angle_touchdown_deg"][row])
    assert np.isfinite(result.steps["contact_time_s"][row])
    assert np.isfinite(result.steps["foot_pitch_touchdown_deg"][row])
    others = result.steps.drop(index=row)
    assert not others["flags"].str.contains("gap").any()
    assert others["shin_angle_touchdown_deg"].notna().sum() >= len(others) - 2


def test_a_gap_at_touchdown_takes_its_times(usual: tuple[Recording, pd.DataFrame]) -> None:
    recording, steps = usual
    at = float(steps["touchdown_s"][6])
    side = steps["side"][6]
    result = imuproc.process(with_gap(recording, f"{side}_foot", at - 0.04, at + 0.04))  # type: ignore[arg-type]
    near = (result.steps["touchdown_s"] - at).abs() < 0.08
    own = result.steps[near & (result.steps["side"] == side)]
    assert own["contact_time_s"].isna().all()
    assert own["flags"].str.contains("event_unsure").all()
    for name, floor in (("contact_time_s", 0.03), ("foot_pitch_touchdown_deg", 4.0)):
        assert_no_silent_error(result, steps, name, floor)


def test_a_long_gap_in_the_run_costs_the_sensor_not_the_run(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    at = float(steps["touchdown_s"][6])
    side = steps["side"][6]
    result = imuproc.process(with_gap(recording, f"{side}_shank", at - 0.4, at + 0.02))  # type: ignore[arg-type]
    assert "not used" in next(
        f.detail for f in result.flags if f.name == "gap" and "not" in f.detail
    )
    own = result.steps["side"] == side
    assert result.steps.loc[own, "shin_angle_touchdown_deg"].isna().all()
    assert result.steps.loc[~own, "shin_angle_touchdown_deg"].notna().all()
    assert result.steps.loc[own, "foot_pitch_touchdown_deg"].notna().all()


def test_feet_that_clip_lose_lengths_first(usual: tuple[Recording, pd.DataFrame]) -> None:
    recording = usual[0]
    limit = 5.0 * 9.80665

    def clipped(log: SensorLog) -> SensorLog:
        if not log.site.endswith("foot"):
            return log
        accel = np.clip(log.accel_mps2, -limit, limit)
        return replace(log, accel_mps2=accel, accel_range_mps2=limit)

    result = imuproc.process(with_logs(recording, clipped))
    assert "accel_clipped" in flag_names(result, "left_foot")
    assert result.steps["step_length_m"].isna().mean() > 0.7
    assert result.steps["flags"].str.contains("velocity_unsure").mean() > 0.7
    for name in ("contact_time_s", "shin_angle_touchdown_deg", "step_frequency_hz"):
        assert result.steps[name].notna().mean() > 0.8, name


def test_steps_beyond_the_gyroscopes_range_are_flagged(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    limit = np.radians(1000.0)

    def clipped(log: SensorLog) -> SensorLog:
        if log.site != "right_shank":
            return log
        gyro = np.clip(log.gyro_radps, -limit, limit)
        return replace(log, gyro_radps=gyro, gyro_range_radps=limit)

    result = imuproc.process(with_logs(usual[0], clipped))
    assert "gyro_clipped" in flag_names(result, "right_shank")
    own = result.steps[result.steps["flags"].str.contains("gyro_clipped")]
    assert set(own["side"]) == {"right"}
    assert len(own) >= 4


@pytest.mark.parametrize("every", [2, 4], ids=["250 Hz", "125 Hz"])
def test_slower_sensors_give_the_same_run(
    usual: tuple[Recording, pd.DataFrame], every: int
) -> None:
    recording, steps = usual

    def thinned(log: SensorLog) -> SensorLog:
        return replace(
            log,
            time_s=log.time_s[::every],
            accel_mps2=log.accel_mps2[::every],
            gyro_radps=log.gyro_radps[::every],
        )

    result = imuproc.process(with_logs(recording, thinned))
    assert run_flags(result) == ({"low_rate"} if every == 4 else set())
    assert result.steps["side"].tolist() == steps["side"].tolist()
    plain = made_result(USUAL).steps
    for name, most in (("contact_time_s", 0.01), ("shin_angle_touchdown_deg", 2.0)):
        assert np.nanmedian(np.abs(result.steps[name] - plain[name])) < most, name


# --- Local gravity --------------------------------------------------------------------------------


def test_local_gravity_is_what_a_sensor_at_rest_is_held_to(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    """The simulated sensors read standard gravity; a place with 9.3 m/s² is not on Earth."""
    elsewhere = imuproc.process(replace(usual[0], gravity_mps2=9.3))
    assert "gravity_off" in run_flags(elsewhere)
    assert "9.3" in next(f.detail for f in elsewhere.flags if f.name == "gravity_off")


def test_local_gravity_enters_the_motion(usual: tuple[Recording, pd.DataFrame]) -> None:
    """Sensors at the equator (9.780 m/s², WGS84) read 0.27 % less; told so, speeds scale so."""
    equator = 9.7803253359
    share = equator / 9.80665
    there = with_logs(usual[0], lambda log: replace(log, accel_mps2=log.accel_mps2 * share))
    plain = made_result(USUAL)

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
    plans = [replace(plan_of(31, "crouch", 12.0), seed=seed) for seed in (1, 2)]
    rig = make_rig("mid", 500.0, np.random.default_rng(4))
    logs, truths = record_long(make_long(plans, 5), rig, np.random.default_rng(6))
    recording = Recording("s", Athlete("R00", stature_m=1.8), Run("R00-01", start="crouch"), logs)
    return recording, imuproc.process(recording), truths


def test_runs_of_a_long_log_are_found_apart(
    long_log: tuple[Recording, Result, tuple[Truth, ...]],
) -> None:
    _, result, truths = long_log
    assert result.steps["run"].unique().tolist() == ["R00-01_1", "R00-01_2"]
    for (_, own), truth in zip(result.steps.groupby("run"), truths, strict=True):
        steps = running(truth)
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
