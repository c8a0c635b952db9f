"""Logs that are not what they claim: the text says what, where and what to do."""

import re
from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.sanity import check_logs, check_signals
from imuproc.conditioning.timebase import to_common_clock
from imuproc.core.errors import RunError
from imuproc.core.recording import SensorLog
from imuproc.core.units import ACCEL_TO_MPS2, GYRO_TO_RADPS
from tests.conditioning.made_up import make_recording, names, resting_and_running
from tests.shared_data import SHARED_DATA, needs_shared_data
from tests.usual import METHOD, ON_CLOCK, SOUND

WHERE = r"logs/left_shank.csv \(left_shank\)"


def good_log(**kinds):
    time_s, accel, gyro = resting_and_running(**kinds)
    return SensorLog("left_shank", time_s, accel, gyro, "logs/left_shank.csv")


def check(log):
    """Both checks, in the order in which a run goes through them."""
    return check_signals(
        to_common_clock(check_logs(make_recording(log), METHOD.sanity), *ON_CLOCK), *SOUND
    )


def scaled(log, accel=1.0, gyro=1.0):
    return replace(log, accel_mps2=accel * log.accel_mps2, gyro_radps=gyro * log.gyro_radps)


def test_one_log_under_two_names_is_refused():
    log = good_log()
    copy = replace(log, site="left_foot", source="logs/copy.csv", time_s=log.time_s + 0.001)
    recording = replace(make_recording(log), logs={"left_shank": log, "left_foot": copy})
    told = WHERE + r" and logs/copy.csv \(left_foot\) hold the same samples. Name the right log"
    with pytest.raises(RunError, match=told):
        check_logs(recording, METHOD.sanity)


def test_a_good_log_passes_without_a_flag():
    based = check(good_log())
    assert based.flags == ()
    stages = [entry.stage for entry in based.history]
    assert stages == [
        "conditioning.sanity.logs",
        "conditioning.timebase",
        "conditioning.sanity.signals",
    ]


@needs_shared_data
@pytest.mark.parametrize("trial", ["2017-11-22-11-25-20", "2017-11-27-11-11-24"])
def test_a_real_foot_sensor_walking_and_jogging_passes(trial):
    """Wagstaff, Peretroukhin & Kelly, foot-mounted dataset, 10.21227/v1z6-9z84."""
    with np.load(SHARED_DATA / "foot_imu_jogging" / f"{trial}.npz") as data:
        arrays = [data[key].astype(np.float64) for key in ("time_s", "acc_mps2", "gyr_radps")]
    based = check(SensorLog("right_foot", *arrays, f"{trial}.csv"))
    assert set(names(based)) <= {"low_rate"}  # 200.1 Hz in the one, 199.9 Hz in the other


@needs_shared_data
def test_a_real_board_at_rest_and_turned_by_hand_passes():
    """Laidig, Caruso, Cereatti & Seel 2021, Data 6:72, trial 07."""
    with np.load(SHARED_DATA / "orientation_reference" / "fast_rotation.npz") as data:
        arrays = [data[key].astype(np.float64) for key in ("time_s", "acc_mps2", "gyr_radps")]
    assert names(check(SensorLog("left_shank", *arrays, "board.csv"))) == []


# --- no signal --------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0, 1, 49])
def test_too_few_samples(n):
    log = good_log()
    log = SensorLog(log.site, log.time_s[:n], log.accel_mps2[:n], log.gyro_radps[:n], log.source)
    with pytest.raises(RunError, match=f"{WHERE}: {n} samples?; at least 50 are needed"):
        check(log)


@pytest.mark.parametrize(
    ("sensor", "field"), [("accelerometer", "accel_mps2"), ("gyroscope", "gyro_radps")]
)
def test_sensor_without_values_or_with_zeros_only(sensor, field):
    log = good_log()
    shape = log.accel_mps2.shape
    with pytest.raises(RunError, match=f"{WHERE}: {sensor} has no values at all.*columns"):
        check(replace(log, **{field: np.full(shape, np.nan)}))
    with pytest.raises(RunError, match=f"{WHERE}: {sensor} reads zero throughout.*Switch it on"):
        check(replace(log, **{field: np.zeros(shape)}))


@pytest.mark.parametrize(
    ("value", "words"),
    [(np.nan, "axis y, has no values"), (0.0, "axis y, reads 0 thr"), (3.25, "y, reads 3.25 thr")],
)
def test_dead_axis(value, words):
    log = good_log()
    log.gyro_radps[:, 1] = value
    with pytest.raises(RunError, match=f"{WHERE}: gyroscope, .*{words}"):
        check(log)


def test_axis_that_sticks_for_a_while_is_flagged_with_its_time():
    log = good_log()
    log.gyro_radps[2000:2300, 2] = log.gyro_radps[2000, 2]
    based = check(log)
    assert names(based) == ["gap", "stuck_channel"]  # its samples are left out
    (flag,) = (flag for flag in based.flags if flag.name == "stuck_channel")
    assert (flag.values["sensor"], flag.values["axis"]) == ("gyroscope", "z")
    assert flag.span_s == pytest.approx((4.0, 4.598))


def test_coarse_steps_at_rest_are_not_a_stuck_axis():
    log = good_log()
    coarse = replace(
        log, accel_mps2=np.round(log.accel_mps2, 0), gyro_radps=np.round(log.gyro_radps, 1)
    )
    assert "stuck_channel" not in names(check(coarse))


# --- unit -------------------------------------------------------------------------------------


@pytest.mark.parametrize("read_as", list(ACCEL_TO_MPS2))
@pytest.mark.parametrize("really", list(ACCEL_TO_MPS2))
@pytest.mark.parametrize("running", [True, False])
def test_wrong_unit_of_acceleration_is_named(really, read_as, running):
    log = scaled(good_log(running=running), accel=ACCEL_TO_MPS2[read_as] / ACCEL_TO_MPS2[really])
    if really == read_as:
        assert names(check(log)) == []
        return
    hint = re.escape(f"the columns are probably in {really}, but were read as {read_as}.")
    words = rf"{WHERE}: acceleration at rest is .* m/s\^2 in place of about 9.81: {hint}"
    with pytest.raises(RunError, match=f"{words} Correct accel in the layout"):
        check(log)


@pytest.mark.parametrize("factor", [0.5, 2.0, 4.0])
def test_wrong_range_setting_is_named(factor):
    with pytest.raises(RunError, match=f"scale is probably wrong by a factor of {factor:g}"):
        check(scaled(good_log(), accel=factor))


def test_gravity_taken_away_by_the_device_is_named():
    log = good_log()
    log = replace(log, accel_mps2=log.accel_mps2 - np.array([0.6, -1.2, 9.70]))
    with pytest.raises(RunError, match=r"in the quietest stretch.*has probably taken gravity away"):
        check(log)


def test_gyroscope_columns_in_place_of_the_accelerometer_are_refused():
    log = good_log()
    with pytest.raises(RunError, match="not those of the accelerometer"):
        check(replace(log, accel_mps2=log.gyro_radps))


def test_poorly_calibrated_accelerometer_is_flagged_not_refused():
    based = check(scaled(good_log(), accel=1.08))
    assert names(based) == ["gravity_off"]
    values = based.flags[0].values
    assert values["found_mps2"] == pytest.approx(10.58, abs=0.01)
    assert values["expected_mps2"] == 9.80665
    assert names(check(scaled(good_log(), accel=1.03))) == []
    with pytest.raises(RunError, match="unit, scale or columns are probably wrong"):
        check(scaled(good_log(), accel=1.4))


def test_local_gravity_is_what_counts():
    recording = make_recording(scaled(good_log(), accel=1.045))
    poles = replace(recording, gravity_mps2=9.832)  # WGS84 at the pole, rounded
    assert names(check_signals(to_common_clock(poles, *ON_CLOCK), *SOUND)) == []
    light = replace(recording, gravity_mps2=9.5)
    assert names(check_signals(to_common_clock(light, *ON_CLOCK), *SOUND)) == ["gravity_off"]


def test_a_log_without_rest_is_not_refused_for_its_gravity():
    log = good_log()
    cut = log.time_s > 3.0
    running = SensorLog(
        log.site, log.time_s[cut], log.accel_mps2[cut], log.gyro_radps[cut], log.source
    )
    assert names(check(running)) == []
    with pytest.raises(RunError, match=r"in the quietest stretch is .* probably"):
        check(scaled(running, accel=100.0))


def test_a_stretch_of_held_samples_does_not_pass_for_rest():
    """Ten held samples in motion are quieter than any rest, but rest is what most of it is."""
    log = good_log()
    log.accel_mps2[2000:2400] = log.accel_mps2[2030]
    assert names(check(log)) in ([], ["gap", "stuck_channel"])


def test_angular_velocity_in_deg_per_s_read_as_rad_per_s_is_named():
    with pytest.raises(RunError, match=f"{WHERE}: .*probably in deg/s, but were read as rad/s"):
        check(scaled(good_log(), gyro=1.0 / GYRO_TO_RADPS["deg/s"]))


def test_angular_velocity_in_rad_per_s_read_as_deg_per_s_is_named():
    with pytest.raises(RunError, match=f"{WHERE}: .*probably in rad/s, but were read as deg/s"):
        check(scaled(good_log(), gyro=GYRO_TO_RADPS["deg/s"]))


def test_standing_and_tapping_is_no_reason_to_doubt_the_gyroscope():
    log = good_log(running=False)
    log.accel_mps2[1000:1005] += 150.0
    log.accel_mps2[1400:1405] += 150.0
    assert names(check(log)) == []


def test_a_few_broken_values_are_not_a_unit():
    log = good_log()
    log.gyro_radps[[100, 900, 2000], 0] = 5000.0
    assert "gyro_clipped" not in names(check(log))


# --- rate and length --------------------------------------------------------------------------


def test_low_rate_is_flagged_and_too_low_a_rate_refused():
    based = check(good_log(rate_hz=125.0))
    assert names(based) == ["low_rate"]
    assert based.flags[0].values == {"rate_hz": pytest.approx(125.0)}
    assert names(check(good_log(rate_hz=200.0))) == []
    with pytest.raises(RunError, match=f"{WHERE}: 40 samples per second; at least 50 are needed"):
        check(good_log(rate_hz=40.0))


def test_too_short_a_log_or_milliseconds_read_as_microseconds():
    log = good_log()
    with pytest.raises(RunError, match=r"0.006 s of samples; at least 1 s.*unit of its times"):
        check(replace(log, time_s=log.time_s * 1e-3))


def test_mostly_missing_log_is_refused():
    log = good_log()
    log.accel_mps2[300:2400] = np.nan
    with pytest.raises(RunError, match="only 30 % of the samples are there"):
        check(log)


def test_log_with_a_gap_in_every_half_second_is_refused():
    log = good_log()
    for start in range(100, 3000, 200):
        log.accel_mps2[start : start + 20] = np.nan
    with pytest.raises(RunError, match=r"never 0.5 s without a gap"):
        check(log)
