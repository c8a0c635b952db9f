"""A whole sensor that repeats a sample is told and left out; repeats that are no fault are not."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imuproc.conditioning.axes.stillness import StillnessSettings, find_rests
from imuproc.conditioning.samples.artefacts import name_stuck_axes, remove_artefacts
from imuproc.conditioning.sanity import check_logs, check_signals
from imuproc.conditioning.timebase import to_common_clock
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import SensorLog
from imuproc.synth.sensors.repeated_samples import repeat_samples
from tests.conditioning.made_up import (
    OFFSET,
    make_log,
    make_recording,
    names,
    resting_and_running,
    truth,
    values_of,
)
from tests.shared_data import SHARED_DATA, needs_shared_data
from tests.usual import LEAST_HZ, METHOD, ON_CLOCK, SOUND


def running_log(rate_hz: float = 500.0, seed: int = 0, after_rest_s: float = 0.0) -> SensorLog:
    """3 s of rest, 3 s in motion, begun within 0.1 s, and, if wanted, rest again."""
    time_s, accel, gyro = resting_and_running(rate_hz, seed, running=False)
    moves = np.clip((time_s - 3.0) / 0.1, 0.0, 1.0)[:, None]
    force, turn = truth(time_s)
    accel, gyro = accel + 10.0 * moves * (force - OFFSET[:3]), gyro + 1.5 * moves * turn
    if after_rest_s:
        count = int(after_rest_s * rate_hz)
        accel, gyro = np.concatenate((accel, accel[:count])), np.concatenate((gyro, gyro[:count]))
        time_s = np.arange(len(accel)) / rate_hz
    return replace(make_log(time_s), accel_mps2=accel, gyro_radps=gyro)


def between(log: SensorLog, start_s: float, end_s: float) -> np.ndarray:
    return np.asarray((log.time_s >= start_s - 1e-6) & (log.time_s < end_s - 1e-6))


def held(log: SensorLog, start_s: float, end_s: float) -> SensorLog:
    return repeat_samples(log, between(log, start_s, end_s))


def coarse(log: SensorLog, accel_mps2: float, gyro_radps: float) -> SensorLog:
    return replace(
        log,
        accel_mps2=np.round(log.accel_mps2 / accel_mps2) * accel_mps2,
        gyro_radps=np.round(log.gyro_radps / gyro_radps) * gyro_radps,
    )


def written_often(log: SensorLog, times: int, *sensors: str) -> SensorLog:
    own = np.arange(len(log.time_s)) // times * times
    return replace(log, **{name: getattr(log, name)[own] for name in sensors})


def cleaned(log: SensorLog) -> tuple[SensorLog, list[RaisedFlag]]:
    return remove_artefacts(log, METHOD.sanity.artefacts, LEAST_HZ)


def missing(log: SensorLog) -> np.ndarray:
    return np.isnan(np.concatenate((log.accel_mps2, log.gyro_radps), axis=1)).any(axis=1)


@given(
    rate_hz=st.sampled_from([100.0, 200.0, 500.0, 1000.0]),
    seed=st.integers(0, 50),
    start_s=st.floats(3.1, 5.8),
    duration_s=st.floats(0.02, 0.15),
)
def test_what_is_held_in_motion_is_missing_and_nothing_else(
    rate_hz: float, seed: int, start_s: float, duration_s: float
) -> None:
    log = running_log(rate_hz, seed)
    own = between(log, start_s, start_s + duration_s)
    if np.count_nonzero(own) < 2:
        return
    found, flags = cleaned(repeat_samples(log, own))
    assert [flag.name for flag in flags] == ["samples_held"]
    np.testing.assert_array_equal(missing(found), own)
    np.testing.assert_array_equal(found.gyro_radps[~own], log.gyro_radps[~own])


@given(seed=st.integers(0, 1000), share=st.floats(0.01, 0.2))
def test_many_short_ones_are_all_found(seed: int, share: float) -> None:
    log = running_log(200.0, seed)
    rng = np.random.default_rng(seed)
    own = np.zeros(len(log.time_s), dtype=bool)
    for start in rng.integers(620, 1180, int(share * 560 / 8)):
        own[start : start + rng.integers(4, 12)] = True
    found, flags = cleaned(repeat_samples(log, own))
    np.testing.assert_array_equal(missing(found), own)
    assert [flag.name for flag in flags] == ["samples_held"] * bool(own.any())


@given(
    rate_hz=st.sampled_from([200.0, 500.0, 1000.0]),
    seed=st.integers(0, 50),
    accel_mps2=st.floats(0.001, 1.2),
    gyro_radps=st.floats(0.0005, 0.27),
)
def test_coarse_steps_are_not_taken_for_held_samples(
    rate_hz: float, seed: int, accel_mps2: float, gyro_radps: float
) -> None:
    """Down to 8 bits of 16 g and 2000 deg/s, in rest and in motion."""
    _, flags = cleaned(coarse(running_log(rate_hz, seed), accel_mps2, gyro_radps))
    assert "samples_held" not in [flag.name for flag in flags]


def test_a_sensor_without_any_noise_repeats_itself_at_rest_and_that_is_no_fault() -> None:
    log = running_log()
    still = log.time_s < 3.0
    log.accel_mps2[still], log.gyro_radps[still] = log.accel_mps2[0], log.gyro_radps[0]
    found, flags = cleaned(coarse(log, 0.01, 0.005))
    assert flags == []
    assert not missing(found).any()


def test_coarse_sensors_that_are_held_into_motion_are_told_by_the_jump() -> None:
    log = coarse(running_log(), 0.3, 0.1)  # at rest its samples repeat
    found, flags = cleaned(held(log, 2.9, 3.1))
    assert [flag.name for flag in flags] == ["samples_held"]
    assert missing(found)[between(log, 2.96, 3.1)].all()
    assert not missing(found)[between(log, 3.1, 6.0)].any()


@pytest.mark.parametrize(
    ("start_s", "end_s", "samples", "first_s"),
    [(-1.0, 1.5, 749, 0.002), (5.0, 9.0, 500, 5.0), (4.0, 4.3, 150, 4.0)],
)
def test_a_log_may_begin_or_end_held(
    start_s: float, end_s: float, samples: int, first_s: float
) -> None:
    (flag,) = cleaned(held(running_log(), start_s, end_s))[1]
    assert flag.name == "samples_held"
    assert (flag.values["samples"], flag.values["stretches"]) == (samples, 1)
    assert flag.values["longest_s"] == pytest.approx((samples - 1) / 500.0)
    assert flag.values["longest_at_s"] == pytest.approx(first_s)


@pytest.mark.parametrize("value", [0.0, 2.5])
def test_a_log_padded_with_a_constant_is_told_where_it_is(value: float) -> None:
    log = running_log()
    pad = log.time_s >= 5.0
    log.accel_mps2[pad], log.gyro_radps[pad] = value, value
    found, flags = cleaned(log)
    assert [flag.name for flag in flags] == ["samples_held"]
    np.testing.assert_array_equal(np.flatnonzero(missing(found)), np.flatnonzero(pad)[1:])


def test_a_run_that_is_hidden_between_rest_and_rest_is_told() -> None:
    log = running_log(after_rest_s=3.0)
    found, flags = cleaned(held(log, 2.0, 7.0))
    assert [flag.name for flag in flags] == ["samples_held"]
    assert missing(found)[between(log, 2.0, 7.0)].all()


def test_a_moment_held_at_rest_costs_no_standing() -> None:
    log = running_log()
    short = held(log, 1.0, 1.2)
    assert cleaned(short)[0] is short
    rest = [
        find_rests(one.time_s, one.accel_mps2, one.gyro_radps, 500.0, StillnessSettings())
        for one in (log, short)
    ]
    assert [part.duration_s for part in rest[0]] == pytest.approx(
        [part.duration_s for part in rest[1]], abs=0.02
    )


def test_all_axes_at_the_end_of_their_ranges_are_clipped_and_not_held() -> None:
    log = running_log()
    swing = np.sin(2.0 * np.pi * 2.0 * log.time_s)[:, None]
    log = replace(
        log,
        accel_mps2=np.clip(log.accel_mps2 + 300.0 * swing, -100.0, 100.0),
        gyro_radps=np.clip(log.gyro_radps + 50.0 * swing, -20.0, 20.0),
    )
    assert np.count_nonzero((np.abs(log.gyro_radps) == 20.0).all(axis=1)) > 500
    assert "samples_held" not in [flag.name for flag in cleaned(log)[1]]


def test_exact_copies_of_samples_are_left_to_the_repair_of_stamps() -> None:
    log = running_log()
    twice = log.take(np.repeat(np.arange(len(log.time_s)), 3))
    assert cleaned(twice)[0] is twice


@pytest.mark.parametrize("times", [2, 3, 4])
@pytest.mark.parametrize("name", ["accel_mps2", "gyro_radps"])
def test_a_slow_sensor_beside_a_fast_one_is_kept_and_told(times: int, name: str) -> None:
    log = written_often(running_log(), times, name)
    found, flags = cleaned(log)
    assert found is log
    sensor = "accelerometer" if name == "accel_mps2" else "gyroscope"
    told = [(f.name, f.values) for f in flags]
    values = {"sensor": sensor, "rows": times, "rate_hz": pytest.approx(500.0 / times)}
    assert told == ([("low_rate", values)] if 500.0 / times < 199.0 else [])


@pytest.mark.parametrize("times", [2, 3, 4])
def test_a_table_of_repeated_samples_is_read_as_those_it_holds(times: int) -> None:
    log = written_often(running_log(), times, "accel_mps2", "gyro_radps")
    based = check_signals(
        to_common_clock(check_logs(make_recording(log), METHOD.sanity), *ON_CLOCK), *SOUND
    )
    assert based.rate_hz == pytest.approx(500.0 / times)
    assert set(names(based)) == ({"low_rate"} if 500.0 / times < 199.0 else set())
    assert based.sites["left_shank"].measured.all()


def test_packets_lost_from_such_a_table_are_told_too() -> None:
    log = written_often(running_log(1000.0), 4, "accel_mps2", "gyro_radps")
    based = to_common_clock(
        check_logs(make_recording(held(log, 4.0, 4.06)), METHOD.sanity), *ON_CLOCK
    )
    assert names(based) == ["gap", "samples_held"]
    seen = based.sites["left_shank"].measured[(based.time_s > 4.01) & (based.time_s < 4.05)]
    assert not seen.any()


def test_held_samples_fare_as_lost_ones() -> None:
    log = running_log(200.0)
    own = between(log, 4.0, 4.015) | between(log, 4.5, 4.7)
    lost, kept = (
        to_common_clock(check_logs(make_recording(one), METHOD.sanity), *ON_CLOCK)
        for one in (log.take(~own), repeat_samples(log, own))
    )
    np.testing.assert_array_equal(
        lost.sites["left_shank"].gyro_radps, kept.sites["left_shank"].gyro_radps
    )
    assert names(lost) == ["gap", "samples_dropped"]
    assert set(names(kept)) == {"gap", "samples_dropped", "samples_held"}
    assert values_of(kept, "gap") == values_of(lost, "gap")


def test_a_refusal_names_what_was_held() -> None:
    log, flags = cleaned(held(running_log(), 3.2, 9.0))
    reason = name_stuck_axes("no steps", replace(make_recording(log), flags=tuple(flags)))
    assert f"{log.source} ({log.site}): 1400 samples in 1 place" in reason
    assert "Check the radio link" in reason


@pytest.mark.parametrize("name", ["accel_mps2", "gyro_radps"])
def test_one_of_the_two_sensors_that_keeps_all_its_values_is_stuck(name: str) -> None:
    log = running_log()
    own = between(log, 4.0, 4.3)
    values = getattr(log, name).copy()
    values[own] = values[np.argmax(own)]
    found, flags = cleaned(replace(log, **{name: values}))
    assert [flag.name for flag in flags] == ["stuck_channel"]
    assert "axis" not in flags[0].values
    assert flags[0].span_s == pytest.approx((4.0, 4.298))
    assert np.count_nonzero(missing(found)) == np.count_nonzero(own) - 1


@needs_shared_data
def test_no_real_log_is_told_to_hold_its_samples() -> None:
    """Sources of the data in the README of the shared folder."""
    paths = sorted((SHARED_DATA / "foot_imu_jogging").glob("*.npz"))
    paths += [SHARED_DATA / "orientation_reference" / "fast_rotation.npz"]
    for path in paths:
        with np.load(path) as data:
            accel, gyro = data["acc_mps2"].astype(float), data["gyr_radps"].astype(float)
            log = SensorLog("right_foot", data["time_s"], accel, gyro, path.name)
        names_told = {flag.name for flag in cleaned(log)[1]}
        assert not names_told & {"samples_held", "low_rate"}, path.name
