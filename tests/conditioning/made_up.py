"""Logs of smooth made-up signals, whose value at any time is known."""

import numpy as np

from imuproc.core.flag_list import FLAGS
from imuproc.core.recording import Athlete, Recording, Run, SensorLog

FREQUENCY_HZ = np.array([1.1, 2.3, 3.1, 0.7, 1.9, 4.0])
SIZE = np.array([4.0, 6.0, 3.0, 2.0, 9.0, 3.0])
OFFSET = np.array([1.0, -2.0, 9.0, 0.3, 0.0, -0.2])


def truth(elapsed_s):
    """Acceleration (m/s²) and angular velocity (rad/s) at times since the start, (n, 3) each."""
    turn = 2.0 * np.pi * FREQUENCY_HZ * np.asarray(elapsed_s)[:, None] + np.arange(6)
    both = OFFSET + SIZE * np.sin(turn)
    return both[:, :3], both[:, 3:]


def steepness(order):
    """Largest derivative of that order of any channel."""
    return float(np.max(SIZE * (2.0 * np.pi * FREQUENCY_HZ) ** order))


def make_log(time_s, site="left_shank", elapsed_s=None, **ranges):
    """Log that reads the truth at ``elapsed_s`` (its own stamps when left out)."""
    time_s = np.asarray(time_s, dtype=np.float64)
    accel, gyro = truth(time_s if elapsed_s is None else elapsed_s)
    return SensorLog(site, time_s, accel, gyro, f"logs/{site}.csv", **ranges)


def make_recording(*logs, **run):
    """Recording of invented athlete R07."""
    by_site = {log.site: log for log in logs}
    return Recording("harbour", Athlete("R07"), Run("R07-01", **run), by_site)


def resting_and_running(rate_hz=500.0, seed=0, running=True):
    """Time, acceleration and angular velocity of 3 s rest and 3 s like a leg's, with noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int(6.0 * rate_hz)) / rate_hz
    swing = np.where(time_s > 3.0, np.sin(2.0 * np.pi * 2.0 * time_s), 0.0) * running
    accel = np.array([0.6, -1.2, 9.70]) + swing[:, None] * np.array([40.0, 10.0, 60.0])
    gyro = swing[:, None] * np.array([1.0, 14.0, 2.0])
    accel = accel + rng.normal(0.0, 0.03, accel.shape)
    gyro = gyro + 0.005 + rng.normal(0.0, 0.003, gyro.shape)
    return time_s, accel, gyro


def names(based, site=None):
    assert all(flag.name in FLAGS for flag in based.flags)
    return sorted(flag.name for flag in based.flags if site is None or flag.site == site)


def values_of(based, name):
    return next(flag.values for flag in based.flags if flag.name == name)


def error_at_measured(based, site, start_s):
    signals = based.sites[site]
    accel, gyro = truth(based.time_s - start_s)
    on = signals.measured
    return max(
        np.abs(signals.accel_mps2 - accel)[on].max(), np.abs(signals.gyro_radps - gyro)[on].max()
    )


def interpolation_bound(longest_s, rate_hz):
    """Largest error of a cubic with three-point slopes over steps up to ``longest_s``.

    Slopes at an end are wrong by at most M3 h² / 3, which adds 4/27 h of that; the Hermite cubic
    itself by M4 h⁴ / 384 (textbook remainders, e.g. de Boor 1978)."""
    slope_part = 8.0 / 27.0 * steepness(3) * longest_s**3 / 3.0
    return slope_part + steepness(4) * longest_s**4 / 384.0 + 2e-3 / rate_hz * steepness(1)
