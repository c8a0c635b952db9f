"""The whole method on recordings that lack standing, swap logs, have gaps or clip."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.errors import RunError
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import SITES, Site
from imuproc.synth.sensors.imperfect import GRADES
from tests.pipeline.whole_runs import (
    ANGLES,
    LENGTH,
    missing,
    run_flags,
)
from tests.shared_data import needs_shared_data
from tests.simulated import (
    USUAL,
    change_logs,
    compute_errors,
    cut_log,
    list_flag_names,
    make_result,
    make_run,
    match_rows,
    plan_run,
    rename_sites,
    select_running,
)

# --- Quiet standing -------------------------------------------------------------------------------


def cut(recording: Recording, start_s: float, end_s: float) -> Recording:
    return change_logs(recording, lambda log: cut_log(log, start_s, end_s))


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
        error = compute_errors(result.steps[:12], steps, name)
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
    assert len({column for _, column in match_rows(result.steps, steps)}) >= len(steps) - 2
    for name in ("touchdown_s", "contact_time_s"):
        assert result.steps[name].notna().sum() >= len(result.steps) - 1
        assert np.nanmedian(np.abs(compute_errors(result.steps, steps, name))) < 0.02


def test_a_staggered_stance_held_until_a_standing_start_is_not_standing() -> None:
    """Nothing else is still in the log: its zero would be 35 deg wrong."""
    plan = plan_run(500 + len("standing"), "standing")
    recording, truth = make_run(plan)
    steps = select_running(truth)
    start_s, end_s = steps["touchdown_s"].iloc[0] - 2.2, steps["toe_off_s"].iloc[-1] + 0.3
    result = imuproc.process(cut(recording, start_s, end_s))
    assert run_flags(result) == {"no_standing"}
    assert missing(result) >= ANGLES
    (flag,) = (f for f in result.flags if f.name == "no_standing")
    assert flag.span_s is not None  # of the stance, which is in another posture
    assert start_s - 0.1 < flag.span_s[0] < flag.span_s[1] < start_s + 2.3


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
    return rename_sites(make_run(USUAL)[0], {**same, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["shank", "foot"])
def test_shanks_or_feet_exchanged_are_refused(kind: str) -> None:
    crossed = {f"left_{kind}": f"right_{kind}", f"right_{kind}": f"left_{kind}"}
    with pytest.raises(RunError, match=r"left and right logs look swapped: left_shank \(.*right_"):
        imuproc.process(named(**crossed))  # type: ignore[arg-type]


def test_whole_legs_exchanged_are_flagged() -> None:
    result = imuproc.process(rename_sites(make_run(USUAL)[0], LEGS))
    assert run_flags(result) == {"sides_swapped"}
    (flag,) = (f for f in result.flags if f.name == "sides_swapped")
    assert flag.values["left_deg"] < 0.0
    assert flag.values["right_deg"] < 0.0


def test_shank_and_foot_of_a_leg_exchanged_are_flagged() -> None:
    result = imuproc.process(named(left_shank="left_foot", left_foot="left_shank"))
    assert "segments_swapped" in run_flags(result)
    assert {"segments_swapped"} <= list_flag_names(result, "left_foot")


@needs_shared_data
@pytest.mark.parametrize("number", [12, 29])
def test_real_runners_raise_no_alarm_and_have_no_drive_phase(number: int) -> None:
    """Real motion: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; here as if overground."""
    from scripts.lab.optical_running import list_cases
    from scripts.lab.real_motion import make_recording

    recording, truth = make_recording(list_cases()[number], GRADES["mid"], 250.0, seed=number)
    result = imuproc.process(recording)
    assert run_flags(result) == set()
    assert "drive" not in set(result.steps["phase"])
    assert len({column for _, column in match_rows(result.steps, truth.steps)}) == len(truth.steps)


@needs_shared_data
def test_a_real_runners_legs_exchanged_are_flagged() -> None:
    from scripts.lab.optical_running import list_cases
    from scripts.lab.real_motion import make_recording

    recording, _ = make_recording(list_cases()[18], GRADES["mid"], 250.0, seed=18)
    assert "sides_swapped" in run_flags(imuproc.process(rename_sites(recording, LEGS)))


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

    return change_logs(recording, torn)


def assert_no_silent_error(result: Result, steps: pd.DataFrame, name: str, floor: float) -> None:
    """Every figure given is within three of its uncertainties, and a floor, of the truth."""
    pairs = match_rows(result.steps, steps)
    error = np.abs(compute_errors(result.steps, steps, name))
    u = result.steps[f"{name}_u"].to_numpy()[[row for row, _ in pairs]]
    assert not (error > 3.0 * u + floor).any(), name


def test_a_short_gap_makes_its_step_uncertain_and_leaves_the_others(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    at = float(steps["touchdown_s"][6])
    side = steps["side"][6]
    result = imuproc.process(with_gap(recording, f"{side}_shank", at - 0.15, at - 0.05))  # type: ignore[arg-type]
    row = next(a for a, b in match_rows(result.steps, steps) if b == 6)
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
    assert any(f.name == "gap" and f.values.get("left_out") for f in result.flags)
    own = result.steps["side"] == side
    assert result.steps.loc[own, "shin_angle_touchdown_deg"].isna().all()
    assert result.steps.loc[~own, "shin_angle_touchdown_deg"].notna().all()
    assert result.steps.loc[own, "foot_pitch_touchdown_deg"].notna().all()


def stuck(recording: Recording, at_s: float, *sites: Site) -> Recording:
    """The x axis of the gyroscope keeps its value from an instant to the end of the log."""

    def held(log: SensorLog) -> SensorLog:
        if log.site not in sites:
            return log
        gyro, at = log.gyro_radps.copy(), int(np.searchsorted(log.time_s, at_s))
        gyro[at:, 0] = gyro[at, 0]
        return replace(log, gyro_radps=gyro)

    return change_logs(recording, held)


def test_an_axis_stuck_to_the_end_of_the_log_costs_the_sensor_not_the_run(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    result = imuproc.process(stuck(recording, steps["touchdown_s"].iloc[3], "left_shank"))
    assert run_flags(result) == {"stuck_channel", "gap", "missing_shank"}
    assert len(result.steps) == len(steps)
    for figure in ("contact_time_s", "step_time_s"):
        assert_no_silent_error(result, steps, figure, 0.004)


def test_a_run_that_a_stuck_axis_costs_names_log_axis_and_instant(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    alone = replace(recording, logs={"left_shank": recording.logs["left_shank"]})
    at_s = steps["touchdown_s"].iloc[1]
    with pytest.raises(RunError, match="gyroscope axis x from") as caught:
        imuproc.process(stuck(alone, at_s, "left_shank"))
    told = str(caught.value)
    assert f"{recording.logs['left_shank'].source} (left_shank)" in told
    assert " s on. " in told
    assert "Have the sensor checked" in told


def test_feet_that_clip_lose_lengths_first(usual: tuple[Recording, pd.DataFrame]) -> None:
    recording = usual[0]
    limit = 5.0 * 9.80665

    def clipped(log: SensorLog) -> SensorLog:
        if not log.site.endswith("foot"):
            return log
        accel = np.clip(log.accel_mps2, -limit, limit)
        return replace(log, accel_mps2=accel, accel_range_mps2=limit)

    result = imuproc.process(change_logs(recording, clipped))
    assert "accel_clipped" in list_flag_names(result, "left_foot")
    assert result.steps["step_length_m"].isna().mean() > 0.7
    assert result.steps["flags"].str.contains("velocity_unsure").mean() > 0.7
    for name in ("contact_time_s", "shin_angle_touchdown_deg", "step_frequency_hz"):
        assert result.steps[name].notna().mean() > 0.8, name


def test_a_foot_that_reads_far_from_1_g_at_rest_costs_lengths_alone(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    def scaled(log: SensorLog) -> SensorLog:
        at_rest = np.linalg.norm(log.accel_mps2[:200].mean(axis=0))
        scale = 1.15 * 9.80665 / at_rest if log.site == "left_foot" else 1.0
        return replace(log, accel_mps2=scale * log.accel_mps2)

    result = imuproc.process(change_logs(usual[0], scaled))
    assert {"gravity_off", "velocity_unsure"} <= list_flag_names(result, "left_foot")
    assert result.steps[["step_length_m", "speed_mps"]].isna().all(axis=None)
    assert not result.distances
    for name in ("contact_time_s", "shin_angle_touchdown_deg", "foot_pitch_touchdown_deg"):
        assert result.steps[name].notna().all(), name


def test_steps_beyond_the_gyroscopes_range_are_flagged(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    limit = np.radians(1000.0)

    def clipped(log: SensorLog) -> SensorLog:
        if log.site != "right_shank":
            return log
        gyro = np.clip(log.gyro_radps, -limit, limit)
        return replace(log, gyro_radps=gyro, gyro_range_radps=limit)

    result = imuproc.process(change_logs(usual[0], clipped))
    assert "gyro_clipped" in list_flag_names(result, "right_shank")
    own = result.steps[result.steps["flags"].str.contains("gyro_clipped")]
    assert set(own["side"]) == {"right"}
    assert len(own) >= 4


@pytest.mark.parametrize("every", [2, 4], ids=["250 Hz", "125 Hz"])
def test_slower_sensors_give_the_same_run(
    usual: tuple[Recording, pd.DataFrame], every: int
) -> None:
    recording, steps = usual

    def thinned(log: SensorLog) -> SensorLog:
        return log.take(slice(None, None, every))

    result = imuproc.process(change_logs(recording, thinned))
    assert run_flags(result) == ({"low_rate"} if every == 4 else set())
    assert result.steps["side"].tolist() == steps["side"].tolist()
    plain = make_result(USUAL).steps
    for name, most in (("contact_time_s", 0.01), ("shin_angle_touchdown_deg", 2.0)):
        assert np.nanmedian(np.abs(result.steps[name] - plain[name])) < most, name
