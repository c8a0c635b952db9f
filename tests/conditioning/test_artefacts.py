"""Stuck axes and wild samples are taken out; shocks, clipping and coarse steps are left alone."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.samples.artefacts import name_stuck_axes, remove_artefacts
from imuproc.core.recording import SensorLog
from tests.conditioning.made_up import make_log, make_recording, resting_and_running
from tests.shared_data import SHARED_DATA, needs_shared_data
from tests.usual import LEAST_HZ, METHOD

G = 9.80665


def running_log(rate_hz: float = 500.0) -> SensorLog:
    time_s, accel, gyro = resting_and_running(rate_hz)
    return replace(make_log(time_s), accel_mps2=accel, gyro_radps=gyro)


def cleaned(log: SensorLog) -> tuple[SensorLog, list[str]]:
    found, flags = remove_artefacts(log, METHOD.sanity.artefacts, LEAST_HZ)
    return found, [flag.name for flag in flags]


def test_a_sound_log_is_the_same_object() -> None:
    log = running_log()
    found, names = cleaned(log)
    assert found is log
    assert names == []


@pytest.mark.parametrize(("name", "size"), [("accel_mps2", 80.0), ("gyro_radps", 17.0)])
def test_a_wild_sample_is_taken_out_and_nothing_else(name: str, size: float) -> None:
    log = running_log()
    values = getattr(log, name).copy()
    values[2200, 1] += size
    values[2600, 0] -= size
    found, names = cleaned(replace(log, **{name: values}))
    assert names == ["spikes"]
    assert np.flatnonzero(np.isnan(getattr(found, name)).any(axis=1)).tolist() == [2200, 2600]


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 500.0, 1000.0])
def test_a_shock_that_rings_is_no_wild_sample(rate_hz: float) -> None:
    """15 g, 45 Hz, gone within some 30 ms, as a shoe's at touchdown."""
    log = running_log(rate_hz)
    since = log.time_s - 4.2
    ring = np.where(since > 0.0, np.exp(-since / 0.012) * np.cos(2 * np.pi * 45.0 * since), 0.0)
    shaken = log.accel_mps2 + 15.0 * G * ring[:, None] * np.array([0.3, 0.2, 0.9])
    assert cleaned(replace(log, accel_mps2=shaken))[1] == []


def test_an_axis_that_sticks_for_a_moment_is_taken_out() -> None:
    log = running_log()
    gyro = log.gyro_radps.copy()
    gyro[2300:2340, 2] = gyro[2299, 2]
    found, names = cleaned(replace(log, gyro_radps=gyro))
    assert names == ["stuck_channel"]
    assert np.flatnonzero(np.isnan(found.gyro_radps[:, 2])).tolist() == list(range(2300, 2340))
    assert np.isfinite(found.accel_mps2).all()


def test_an_axis_stuck_at_its_largest_value_is_no_clipping_when_it_lasts() -> None:
    log = running_log()
    gyro = log.gyro_radps.copy()
    at = 2000 + int(np.argmax(gyro[2000:2500, 2]))
    gyro[at:, 2] = gyro[:, 2].max()
    found, flags = remove_artefacts(
        replace(log, gyro_radps=gyro), METHOD.sanity.artefacts, LEAST_HZ
    )
    assert np.isnan(found.gyro_radps[at + 1 :, 2]).all()
    (flag,) = flags
    assert (flag.values["sensor"], flag.values["axis"]) == ("gyroscope", "z")
    assert flag.span_s == (log.time_s[at], np.inf)  # to the end of the log


def test_missing_values_beside_it_do_not_hide_a_stuck_axis() -> None:
    log = running_log()
    gyro = log.gyro_radps.copy()
    gyro[2300:, 2] = gyro[2300, 2]
    gyro[2400, 0] = np.nan
    assert cleaned(replace(log, gyro_radps=gyro))[1] == ["stuck_channel"]


def test_stretches_in_which_an_axis_is_stuck_are_counted() -> None:
    log = running_log()
    gyro = log.gyro_radps.copy()
    for first in (2300, 2700):
        gyro[first : first + 40, 2] = gyro[first, 2]
    _, flags = remove_artefacts(replace(log, gyro_radps=gyro), METHOD.sanity.artefacts, LEAST_HZ)
    assert flags[0].values["stretches"] == 2


def test_a_refusal_names_log_axis_and_instant_of_what_is_stuck() -> None:
    log = running_log()
    accel = log.accel_mps2.copy()
    accel[2300:, 0] = accel[2300, 0]
    log, flags = remove_artefacts(replace(log, accel_mps2=accel), METHOD.sanity.artefacts, LEAST_HZ)
    recording = replace(make_recording(log), flags=tuple(flags))
    reason = name_stuck_axes("no steps", recording)
    named = f"{log.source} ({log.site}): accelerometer axis x from {log.time_s[2300]:.10g} s on"
    assert reason.startswith("no steps. ")
    assert named in reason
    assert "Have the sensor checked" in reason
    assert name_stuck_axes("no steps", make_recording(running_log())) == "no steps"


def test_the_end_of_the_range_is_no_stuck_axis() -> None:
    log = running_log()
    assert cleaned(replace(log, gyro_radps=np.clip(log.gyro_radps, -8.0, 8.0)))[1] == []


@needs_shared_data
def test_a_real_foot_sensor_in_jogging_has_no_artefacts() -> None:
    """Wagstaff, Peretroukhin & Kelly, IEEE DataPort 10.21227/v1z6-9z84 (open access)."""
    trials = sorted((SHARED_DATA / "foot_imu_jogging").glob("*.npz"))
    assert len(trials) == 6
    for path in trials:
        with np.load(path) as data:
            accel, gyro = data["acc_mps2"].astype(float), data["gyr_radps"].astype(float)
            log = SensorLog("right_foot", data["time_s"], accel, gyro, path.name)
        assert cleaned(log)[1] == [], path.name
