"""Samples at the end of the range, stated or not."""

import numpy as np
import pytest

from imuproc.conditioning.samples.clipping import (
    find_clipped_axes,
    find_clipped_samples,
    keep_long_runs,
    restore_rate,
)
from imuproc.conditioning.timebase import to_common_clock
from imuproc.core.recording import SensorLog
from tests.conditioning.made_up import (
    make_log,
    make_recording,
    names,
    values_of,
)
from tests.shared_data import SHARED_DATA, needs_shared_data
from tests.usual import METHOD, ON_CLOCK

EVEN_S = np.arange(1000) / 500.0


def test_runs_shorter_than_asked_for_are_left_out():
    mask = np.array([1, 0, 1, 1, 0, 1, 1, 1], dtype=bool)
    np.testing.assert_array_equal(np.flatnonzero(keep_long_runs(mask, 2)), [2, 3, 5, 6, 7])
    np.testing.assert_array_equal(np.flatnonzero(keep_long_runs(mask, 3)), [5, 6, 7])
    assert not keep_long_runs(mask[:2], 3).any()


def test_samples_near_a_stated_range_are_clipped_from_two_in_a_row_on():
    """Two or more samples within 0.5 % of the range: common practice, no source."""
    x = np.zeros((20, 3))
    x[3, 0] = 99.6  # alone
    x[6:8, 1] = [-99.6, -99.7]
    x[12, 2] = 100.0  # alone, but at the very end
    x[15:18, 0] = 99.4
    np.testing.assert_array_equal(
        np.flatnonzero(find_clipped_samples(x, 100.0, 18.0, METHOD.timebase.range)), [6, 7, 12]
    )


def test_flat_extremes_are_clipped_where_no_range_is_stated():
    wave = 40.0 * np.sin(np.linspace(0.0, 30.0, 600))[:, None] * np.ones(3)
    assert not find_clipped_samples(wave, None, 18.0, METHOD.timebase.range).any()
    flat = find_clipped_samples(np.clip(wave, -1e9, 25.0), None, 18.0, METHOD.timebase.range)
    np.testing.assert_array_equal(flat, wave[:, 0] >= 25.0)
    # A log of quiet standing in coarse steps reaches its own extreme often: no range is so small.
    assert not find_clipped_samples(np.round(0.1 * wave), None, 18.0, METHOD.timebase.range).any()


def test_missing_samples_are_not_clipped():
    assert not find_clipped_samples(
        np.full((10, 3), np.nan), 100.0, 18.0, METHOD.timebase.range
    ).any()


def test_clipping_is_marked_on_the_clock_one_sample_beyond_and_flagged():
    log = make_log(EVEN_S, accel_range_mps2=160.0, gyro_range_radps=35.0)
    log.accel_mps2[300:305, 2] = 160.0
    log.gyro_radps[600:602, 1] = -34.9
    based = to_common_clock(make_recording(log), *ON_CLOCK)
    signals = based.sites["left_shank"]
    np.testing.assert_array_equal(np.flatnonzero(signals.accel_clipped), np.arange(299, 306))
    np.testing.assert_array_equal(np.flatnonzero(signals.gyro_clipped), np.arange(599, 603))
    assert names(based) == ["accel_clipped", "gyro_clipped"]
    clipped = values_of(based, "accel_clipped")
    assert (clipped["samples"], clipped["stretches"]) == (5, 1)
    assert clipped["first_s"] == pytest.approx(0.6)


@needs_shared_data
@pytest.mark.parametrize(
    ("trial", "clips"), [("2017-11-27-11-13-41", True), ("2017-11-22-11-25-20", False)]
)
def test_real_foot_sensor_clips_in_jogging_and_not_in_walking(trial, clips):
    """Wagstaff, Peretroukhin & Kelly, foot-mounted dataset, 10.21227/v1z6-9z84: the gyroscope's
    range ends at about 9.1 rad/s; real stamps with jitter at 200 Hz."""
    with np.load(SHARED_DATA / "foot_imu_jogging" / f"{trial}.npz") as data:
        gyro = data["gyr_radps"].astype(np.float64)
        log = SensorLog(
            "right_foot",
            data["time_s"].astype(np.float64),
            data["acc_mps2"].astype(np.float64),
            gyro,
            f"{trial}.csv",
            gyro_range_radps=9.1,
        )
    based = to_common_clock(make_recording(log), *ON_CLOCK)
    assert based.rate_hz == pytest.approx(200.0, rel=0.002)
    assert based.sites["right_foot"].measured.mean() > 0.999
    assert ("gyro_clipped" in names(based)) == clips
    assert "irregular_stamps" not in names(based)


@pytest.mark.parametrize("share", [0.6, 0.75, 0.9])
def test_a_clipped_half_sine_is_restored_within_what_it_may_hide(share: float) -> None:
    time_s = np.arange(1000) / 500.0
    true = np.stack([20.0 * np.sin(2.0 * np.pi * 3.0 * time_s), *2 * [0.1 * time_s]], axis=1)
    seen = np.clip(true, -20.0 * share, 20.0 * share)
    clipped = find_clipped_axes(seen, 20.0 * share, 4.0, METHOD.timebase.range)
    rate, hidden = restore_rate(time_s, seen, clipped, 3.0, METHOD.timebase.range)
    touched = clipped.any(axis=1)
    assert touched.any()
    np.testing.assert_array_equal(rate[~touched], seen[~touched])
    assert not hidden[~touched].any()
    before, after = (np.abs(true - rate_of).sum() for rate_of in (seen, rate))
    assert after < 0.3 * before
    assert (np.abs(true - rate)[touched, 0] < 2.0 * hidden[touched]).all()


def test_a_long_clipped_stretch_is_left_and_may_hide_as_much_as_usual() -> None:
    time_s = np.arange(1000) / 500.0
    seen = np.clip(np.stack([30.0 * np.sin(np.pi * time_s), *2 * [0.0 * time_s]], 1), -10.0, 10.0)
    clipped = find_clipped_axes(seen, 10.0, 4.0, METHOD.timebase.range)
    rate, hidden = restore_rate(time_s, seen, clipped, 3.0, METHOD.timebase.range)
    np.testing.assert_array_equal(rate, seen)
    assert set(np.unique(hidden)) == {0.0, 3.0}


@pytest.mark.parametrize("full_scale", [4000.0, None])
def test_the_rounded_top_of_a_smooth_peak_is_not_clipped(full_scale):
    """A swing of 1250 deg/s logged at 2000 Hz in steps of 16 bits over ±4000 deg/s: its top reads
    alike for several samples, far below the end of the range."""
    time_s = np.arange(2000) / 2000.0
    swing = 1250.0 * np.sin(2.0 * np.pi * time_s)
    step = 8000.0 / 2**16
    rounded = np.round(swing / step) * step * np.array([[1.0], [0.5], [0.2]])
    top = rounded[0] == rounded[0].max()
    assert keep_long_runs(top, 3).any()
    assert not find_clipped_samples(rounded.T, full_scale, 229.0, METHOD.timebase.range).any()
    flat = np.clip(rounded, -1e9, 1000.0)
    assert find_clipped_samples(flat.T, full_scale, 229.0, METHOD.timebase.range)[
        flat[0] >= 1000.0
    ].all()


def test_a_fast_peak_that_ends_flat_is_clipped_even_where_nothing_moves_slowly():
    """No two samples in a row lie one step apart there: the step is read from all values."""
    time_s = np.arange(3000) / 500.0
    step = 70.0 / 2**16
    swing = np.round(45.0 * np.sin(2.0 * np.pi * np.e * time_s) / step) * step
    seen = np.clip(swing, -34.9, 34.9)[:, None]
    clipped = find_clipped_samples(seen, None, 4.0, METHOD.timebase.range)
    np.testing.assert_array_equal(clipped, np.abs(seen)[:, 0] == 34.9)
