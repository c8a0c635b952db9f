"""Sensor faults and clock faults are of the size that their model states."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.units import STANDARD_GRAVITY_MPS2 as G
from imuproc.synth.poses import PoseTrack
from imuproc.synth.sensors.ideal import Mount
from imuproc.synth.sensors.imperfect import (
    GRADES,
    IdealSignals,
    SensorModel,
    StampModel,
    sample_log,
    sample_signals,
)

DEG = np.pi / 180.0


def signals(duration_s: float = 10.0, accel_g: float = 1.0, gyro_dps: float = 0.0) -> IdealSignals:
    """Constant acceleration along z and constant rate about y, at 1000 Hz."""
    t = np.arange(0.0, duration_s, 0.001)
    accel, gyro = np.zeros((len(t), 3)), np.zeros((len(t), 3))
    accel[:, 2], gyro[:, 1] = accel_g * G, gyro_dps * DEG
    return IdealSignals(t, accel, gyro)


def many(model: SensorModel, ideal: IdealSignals, count: int = 300) -> tuple[np.ndarray, ...]:
    """Mean reading of many sensors of one kind: accelerations in g, rates in deg/s."""
    logs = [
        sample_signals(ideal, "left_shank", model, StampModel(100.0), np.random.default_rng(k))
        for k in range(count)
    ]
    accel = np.array([log.accel_mps2.mean(axis=0) for log in logs]) / G
    return accel, np.array([log.gyro_radps.mean(axis=0) for log in logs]) / DEG


def test_an_ideal_sensor_reads_the_signals_between_the_fine_samples() -> None:
    t = np.arange(0.0, 2.0, 0.001)
    wave = np.column_stack((np.sin(30 * t), np.cos(40 * t), np.sin(50 * t)))
    log = sample_signals(
        IdealSignals(t, wave, wave),
        "left_foot",
        GRADES["ideal"],
        StampModel(333.0),
        np.random.default_rng(1),
    )
    s = log.time_s
    expected = np.column_stack((np.sin(30 * s), np.cos(40 * s), np.sin(50 * s)))
    np.testing.assert_allclose(log.accel_mps2, expected, atol=1e-6)
    np.testing.assert_allclose(log.gyro_radps, expected, atol=1e-6)
    assert log.accel_range_mps2 is None
    assert 0.0 < s[0] < 1.0 / 333.0


def test_same_seed_same_log_other_seed_other_log() -> None:
    def draw(seed: int) -> np.ndarray:
        rng = np.random.default_rng(seed)
        return sample_signals(
            signals(1.0), "left_foot", GRADES["mid"], StampModel(500.0), rng
        ).gyro_radps

    assert np.array_equal(draw(1), draw(1))
    assert not np.array_equal(draw(1), draw(2))


def test_white_noise_integrates_to_n_root_t() -> None:
    """Angle random walk: SD of the integral after t s is N sqrt(t) (IEEE Std 952-1997)."""
    model = SensorModel(gyro_noise_dps_rthz=0.01)
    for rate_hz in (100.0, 800.0):
        ends = []
        for k in range(60):
            log = sample_signals(
                signals(16.0), "left_foot", model, StampModel(rate_hz), np.random.default_rng(k)
            )
            ends.append(log.gyro_radps.sum(axis=0) / rate_hz / DEG)
        assert np.std(ends) == pytest.approx(0.01 * np.sqrt(16.0), rel=0.2)


def test_constants_of_mid_grade_sensors_have_the_stated_spread() -> None:
    accel, gyro = many(GRADES["mid"], signals(0.5))
    assert gyro[:, 0].std() == pytest.approx(np.hypot(0.5, 0.02), rel=0.12)
    assert accel[:, 2].std() == pytest.approx(np.hypot(0.015, 0.005), rel=0.12)
    assert accel[:, 0].std() == pytest.approx(np.hypot(0.015, 0.3 * DEG), rel=0.12)


def test_scale_and_misalignment_follow_the_rate() -> None:
    model = SensorModel(gyro_scale_sd=0.005, misalignment_sd_deg=0.3)
    _, gyro = many(model, signals(0.1, gyro_dps=1000.0))
    assert gyro[:, 1].mean() == pytest.approx(1000.0, abs=1.0)
    assert gyro[:, 1].std() == pytest.approx(5.0, rel=0.12)
    assert gyro[:, 0].std() == pytest.approx(1000.0 * 0.3 * DEG, rel=0.12)


def test_gyroscope_feels_acceleration_by_its_g_sensitivity() -> None:
    _, gyro = many(SensorModel(gyro_g_sensitivity_sd_dps_g=0.02), signals(0.1, accel_g=10.0))
    assert gyro.std() == pytest.approx(0.2, rel=0.1)


def test_only_feet_clip_at_16_g_in_mid16g() -> None:
    ideal = signals(0.1, accel_g=20.0, gyro_dps=2500.0)
    model = replace(GRADES["mid16g"], accel_bias_sd_mg=0.0, accel_scale_sd=0.0)
    foot, shank = (
        sample_signals(ideal, site, model, StampModel(500.0), np.random.default_rng(0))
        for site in ("left_foot", "left_shank")
    )
    assert foot.accel_mps2.max() == pytest.approx(16.0 * G)
    assert foot.accel_range_mps2 == pytest.approx(16.0 * G)
    assert shank.accel_mps2.max() == pytest.approx(20.0 * G, rel=1e-3)
    assert foot.gyro_radps.max() == pytest.approx(2000.0 * DEG)


def test_readings_are_whole_steps_of_the_resolution() -> None:
    model = SensorModel(accel_range_g=16.0, accel_noise_ug_rthz=500.0, bits=12)
    log = sample_signals(
        signals(1.0), "left_foot", model, StampModel(500.0), np.random.default_rng(0)
    )
    counts = log.accel_mps2 / (32.0 * G / 2**12)
    np.testing.assert_allclose(counts, np.round(counts), atol=1e-9)
    assert len(np.unique(np.round(counts[:, 2]))) > 3


def test_bandwidth_damps_what_lies_above_it() -> None:
    t = np.arange(0.0, 4.0, 0.0005)
    wave = np.column_stack([np.sin(2 * np.pi * f * t) for f in (5.0, 50.0, 400.0)])
    model = SensorModel(bandwidth_hz=50.0)
    log = sample_signals(
        IdealSignals(t, wave, wave),
        "left_foot",
        model,
        StampModel(1000.0),
        np.random.default_rng(0),
    )
    peak = log.accel_mps2[1000:3000].max(axis=0)
    assert peak[0] == pytest.approx(1.0, abs=0.01)
    assert peak[1] == pytest.approx(np.sqrt(0.5), abs=0.01)
    assert peak[2] < 0.01


def test_clock_offset_drift_and_start_stamp() -> None:
    stamps = StampModel(200.0, start_s=1000.0, offset_s=-0.5, drift_ppm=100.0, random_phase=False)
    log = sample_signals(
        signals(10.0), "left_foot", GRADES["ideal"], stamps, np.random.default_rng(0)
    )
    assert log.time_s[0] == pytest.approx(999.5)
    np.testing.assert_allclose(np.diff(log.time_s), 0.005, atol=1e-9)  # by its own clock
    # An event at 9 s of true time is stamped 0.9 ms late by a clock that gains 100 ppm.
    assert stamps.to_stamp_s(np.array(9.0)) - 999.5 == pytest.approx(9.0009)


def test_a_share_of_stamps_repeats_the_one_before() -> None:
    stamps = StampModel(500.0, duplicate_fraction=0.02)
    log = sample_signals(
        signals(20.0), "left_foot", GRADES["ideal"], stamps, np.random.default_rng(3)
    )
    assert (np.diff(log.time_s) == 0.0).mean() == pytest.approx(0.02, abs=0.004)


def test_losses_jitter_and_rounding() -> None:
    stamps = StampModel(
        500.0,
        jitter_s=0.0003,
        stamp_noise_s=0.0005,
        resolution_s=0.001,
        drop_fraction=0.05,
        gaps_s=((4.0, 0.2),),
    )
    log = sample_signals(
        signals(20.0), "left_foot", GRADES["ideal"], stamps, np.random.default_rng(3)
    )
    steps = np.diff(log.time_s)
    assert steps.min() >= 0.0
    assert steps.max() == pytest.approx(0.2, abs=0.02)
    assert len(log.time_s) == pytest.approx(0.95 * (20.0 - 0.2) * 500.0, rel=0.01)
    np.testing.assert_allclose(log.time_s * 1000.0, np.round(log.time_s * 1000.0), atol=1e-6)


def test_a_segment_at_rest_reads_gravity_through_its_mount() -> None:
    t = np.arange(0.0, 1.0, 0.001)
    track = PoseTrack(t, np.tile(np.eye(3), (len(t), 1, 1)), np.zeros((len(t), 3)))
    on_its_side = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    log = sample_log(
        track,
        Mount(on_its_side, np.zeros(3)),
        "left_shank",
        GRADES["ideal"],
        StampModel(100.0),
        np.random.default_rng(0),
    )
    np.testing.assert_allclose(log.accel_mps2, np.tile([G, 0, 0], (len(log.time_s), 1)), atol=1e-6)


def test_a_gap_over_everything_is_refused() -> None:
    with pytest.raises(ValueError, match="no sample is left"):
        sample_signals(
            signals(1.0),
            "left_foot",
            GRADES["ideal"],
            StampModel(100.0, gaps_s=((-1.0, 9.0),)),
            np.random.default_rng(0),
        )
