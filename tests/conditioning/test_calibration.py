"""Calibration: the same segment signals, and the same step table, in whatever way sensors sit."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import imuproc
from imuproc.conditioning.axes.calibration import CalibrationSettings, calibrate
from imuproc.core.columns import BY_NAME, FIGURES, uncertainty_name
from imuproc.core.errors import RunError
from imuproc.core.recording import Recording
from imuproc.core.sites import SITES
from imuproc.synth.runs import simulate_run
from imuproc.synth.sensors.imperfect import GRADES
from tests.conditioning.made_legs import RATE_HZ as MADE_HZ
from tests.conditioning.made_legs import RUN, STAND, Hold, made, timebased
from tests.simulated import RATE_HZ, USUAL, change_logs, make_result, make_run, turn_log

LEGS = SITES[:4]
NO_TOE_OUT = CalibrationSettings(toe_out_deg=0.0)
rotations = st.tuples(*[st.floats(-3.1, 3.1)] * 3).map(
    lambda vector: Rotation.from_rotvec(vector).as_matrix()
)


def calibrated(holds=(STAND, RUN, STAND), run=1, sites=LEGS, settings=NO_TOE_OUT, **changes):
    """Calibration of the made-up athlete, and the signals in segment axes."""
    signals = made(holds, sites)
    return calibrate(timebased(signals, **changes), signals.run(run), settings), signals


def error(conditioned, signals, site) -> tuple[float, float]:
    """Largest difference of acceleration and rate from the truth in segment axes."""
    kept = np.searchsorted(signals.time_s, conditioned.time_s)
    segment = conditioned.segments[site]
    return (
        float(np.abs(segment.accel_mps2 - signals.accel_mps2[site][kept]).max()),
        float(np.abs(segment.gyro_radps - signals.gyro_radps[site][kept]).max()),
    )


def names(conditioned) -> list[tuple[str, str]]:
    return [(flag.name, flag.site) for flag in conditioned.flags]


@settings(max_examples=12, deadline=None)
@given(turns=st.tuples(*[rotations] * 4), bias=st.tuples(*[st.floats(-0.08, 0.08)] * 3))
def test_segment_signals_are_the_same_in_any_mounting_and_free_of_bias(turns, bias) -> None:
    mounts = dict(zip(LEGS, turns, strict=True))
    conditioned, signals = calibrated(mounts=mounts, bias_radps=np.array(bias))
    assert names(conditioned) == []
    for site in LEGS:
        accel, gyro = error(conditioned, signals, site)
        # Of up to 25 m/s² and 14 rad/s; the made-up standing has the noise of its sensors.
        assert accel < 0.2
        assert gyro < 0.1
        calibration = conditioned.segments[site].calibration
        np.testing.assert_allclose(calibration.gyro_bias_radps, bias, atol=0.001)
        own = calibration.segment_from_sensor
        np.testing.assert_allclose(own @ own.T, np.eye(3), atol=1e-9)
        assert np.linalg.det(own) == pytest.approx(1.0)


def test_upside_down_and_back_to_front() -> None:
    mounts = {
        "left_shank": np.diag([1.0, -1.0, -1.0]),
        "left_foot": np.diag([-1.0, 1.0, -1.0]),
        "right_shank": np.diag([-1.0, -1.0, 1.0]),
    }
    conditioned, signals = calibrated(mounts=mounts)
    assert names(conditioned) == []
    assert max(error(conditioned, signals, site)[1] for site in LEGS) < 0.1


def test_a_run_keeps_its_standing_and_little_more() -> None:
    conditioned, signals = calibrated((Hold(8.0, running=True), STAND, RUN, STAND, STAND), 2)
    assert conditioned.time_s[0] == pytest.approx(signals.spans[1].start_s, abs=0.7)
    assert conditioned.time_s[-1] < signals.spans[4].end_s
    calibration = conditioned.segments["left_foot"].calibration
    assert calibration.vertical_known
    assert calibration.still_before is not None
    assert calibration.still_after is not None
    assert conditioned.history[-1].stage == "conditioning.calibration"


@pytest.mark.parametrize(("site", "outward"), [("left_foot", 1.0), ("right_foot", -1.0)])
def test_a_foot_points_outward_of_the_run_by_the_usual_toe_out(site, outward) -> None:
    """Mean of 11 runners: 11 deg (Fukuchi et al. 2017)."""
    conditioned, _ = calibrated(settings=CalibrationSettings(toe_out_deg=10.0))
    turn = conditioned.segments[site].calibration.segment_from_sensor
    forward_in_sensor = turn[0]  # the sensor's axes are those of the made-up run
    yaw_deg = np.degrees(np.arctan2(forward_in_sensor[1], forward_in_sensor[0]))
    assert yaw_deg == pytest.approx(10.0 * outward, abs=0.5)


def test_without_standing_a_foot_goes_by_its_shank() -> None:
    mounts = {site: Rotation.from_rotvec([0.3, 0.2, 2.8]).as_matrix() for site in LEGS}
    conditioned, signals = calibrated((RUN,), 0, mounts=mounts)
    assert ("no_standing", "") in names(conditioned)
    assert not any(name == "mounting_sign_unsure" for name, _ in names(conditioned))
    kept = np.searchsorted(signals.time_s, conditioned.time_s)
    for site, segment in conditioned.segments.items():
        assert not segment.calibration.vertical_known
        true = signals.gyro_radps[site][kept, 1]
        assert np.corrcoef(segment.gyro_radps[:, 1], true)[0, 1] > 0.99


def test_a_foot_alone_without_standing_is_not_guessed() -> None:
    with pytest.raises(RunError, match=r"left_foot: not used: without quiet standing"):
        calibrated((RUN,), 0, sites=("left_foot",))
    conditioned, _ = calibrated((RUN,), 0, sites=("left_foot", "right_shank"))
    assert set(conditioned.segments) == {"right_shank"}
    assert ("mounting_sign_unsure", "left_foot") in names(conditioned)


def test_a_sensor_that_lost_its_orientation_in_a_gap_is_not_used() -> None:
    signals = made((STAND, RUN, STAND), LEGS)
    middle = 0.5 * (signals.spans[1].start_s + signals.spans[1].end_s)

    def missing(width_s):
        hole = np.abs(signals.time_s - middle) < 0.5 * width_s
        return timebased(signals, missing={"right_foot": hole})

    short = calibrate(missing(0.02), signals.run(1), NO_TOE_OUT)
    assert set(short.segments) == set(LEGS)
    # What is bridged stays marked.
    assert (~short.segments["right_foot"].measured).sum() == pytest.approx(0.02 * MADE_HZ, abs=2)
    assert np.isfinite(short.segments["right_foot"].gyro_radps).all()
    long = calibrate(missing(0.3), signals.run(1), NO_TOE_OUT)
    assert set(long.segments) == set(LEGS) - {"right_foot"}
    assert ("gap", "right_foot") in names(long)
    lost = next(flag.values for flag in long.flags if flag.name == "gap")
    # From the last sample before it to the first one after it.
    assert lost == {"lost_s": pytest.approx(0.3, abs=3.0 / MADE_HZ), "left_out": True}


def test_a_gap_in_standing_costs_nothing() -> None:
    signals = made((Hold(6.0), RUN, STAND), LEGS)
    hole = (signals.time_s > 51.0) & (signals.time_s < 52.0)
    based = timebased(signals, missing={"left_shank": hole})
    conditioned = calibrate(based, signals.run(1), NO_TOE_OUT)
    assert set(conditioned.segments) == set(LEGS)
    assert names(conditioned) == []


# --- End to end: what a user sees -----------------------------------------------------------------


def remounted(recording: Recording, seed: int) -> Recording:
    """The same run with every sensor turned in the box; one of them upside down."""
    turns = dict(zip(SITES, Rotation.random(len(SITES), rng=seed).as_matrix(), strict=True))
    turns["left_shank"] = np.diag([1.0, -1.0, -1.0])
    return change_logs(recording, lambda log: turn_log(log, turns[log.site]))


def test_the_step_table_does_not_depend_on_mounting() -> None:
    # Without an end of range: which samples clip does depend on how the axes lie.
    endless = replace(GRADES["mid"], accel_range_g=np.inf, gyro_range_dps=np.inf, bits=None)
    recording, _ = simulate_run(USUAL, endless, RATE_HZ, np.random.default_rng(8))
    plain = imuproc.process(recording).steps
    other = imuproc.process(remounted(recording, 3)).steps
    assert other["side"].tolist() == plain["side"].tolist()
    assert other["flags"].tolist() == plain["flags"].tolist()
    assert other["phase"].tolist() == plain["phase"].tolist()
    tolerance = {"s": 2e-5, "Hz": 1e-3, "deg": 0.01, "m": 1e-3, "m/s": 0.01}
    for name in FIGURES:
        for column in (name, uncertainty_name(name)):
            np.testing.assert_allclose(
                other[column], plain[column], atol=tolerance[BY_NAME[name].unit], err_msg=column
            )


@pytest.mark.parametrize("lean_deg", [4.0, -2.5])
def test_a_known_standing_lean_shifts_the_shin_angle_and_nothing_else_of_the_ankle(
    lean_deg: float,
) -> None:
    """Dorsiflexion is 0 in quiet standing, however the athlete stands (core/columns)."""
    recording, _ = make_run(USUAL)
    athlete = replace(recording.athlete, standing_lean_deg=lean_deg)
    plain, leaning = make_result(USUAL), imuproc.process(replace(recording, athlete=athlete))
    for name in ("shin_angle_touchdown_deg", "shin_angle_toe_off_deg"):
        # Knee ahead of the ankle counts positive: the shin stands below 90 deg.
        np.testing.assert_allclose(leaning.steps[name], plain.steps[name] - lean_deg, atol=1e-9)
    same = [n for n in FIGURES if "shin" not in n and n != "ankle_ahead_of_knee_m"]
    pd.testing.assert_frame_equal(leaning.steps[same], plain.steps[same])
    shin = np.radians(leaning.steps["shin_angle_touchdown_deg"])
    length = 0.246 * recording.athlete.stature_m  # Drillis & Contini 1966, from memory
    np.testing.assert_allclose(
        leaning.steps["ankle_ahead_of_knee_m"], -length * np.cos(shin), atol=1e-9
    )
    curves = leaning.curves["shin_angle_left_deg"] - plain.curves["shin_angle_left_deg"]
    np.testing.assert_allclose(curves, -lean_deg, atol=1e-9)


def test_a_gyro_bias_does_not_show() -> None:
    recording, _ = make_run(USUAL)
    bias = np.radians([2.0, -1.5, 2.5])
    other = change_logs(recording, lambda log: replace(log, gyro_radps=log.gyro_radps + bias))
    plain, biased = make_result(USUAL).steps, imuproc.process(other).steps
    for name in ("shin_angle_touchdown_deg", "dorsiflexion_swing_mean_deg"):
        np.testing.assert_allclose(biased[name], plain[name], atol=0.1)
    np.testing.assert_allclose(biased["contact_time_s"], plain["contact_time_s"], atol=0.001)
