"""A whole sensor is held: it repeats a sample, as where a radio link loses packets."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from imuproc.core.recording import SensorLog

BoolArray = NDArray[np.bool_]


def with_held(log: SensorLog, held: BoolArray) -> SensorLog:
    """The log with each sample of a mask replaced by the last one before it.

    Parameters
    ----------
    log : SensorLog
    held : ndarray of bool, shape (n,)
        The first sample stays what it is.
    """
    held = held.copy()
    held[0] = False
    own = np.maximum.accumulate(np.where(held, 0, np.arange(len(held))))
    return replace(log, accel_mps2=log.accel_mps2[own], gyro_radps=log.gyro_radps[own])


def in_swing(log: SensorLog, duration_s: float, rng: np.random.Generator) -> SensorLog:
    """Around a moment at which the sensor turns nearly as fast as ever."""
    size = np.linalg.norm(log.gyro_radps, axis=1)
    fast = log.time_s[size > 0.7 * np.quantile(size, 0.995)]
    start_s = float(rng.choice(fast)) - rng.uniform() * duration_s
    return with_held(log, (log.time_s >= start_s) & (log.time_s < start_s + duration_s))


def at_touchdown(log: SensorLog, duration_s: float, rng: np.random.Generator) -> SensorLog:
    """Around a moment at which the force rises most steeply of all within a quarter of a second."""
    size = np.linalg.norm(log.accel_mps2, axis=1)
    period_s = float(np.median(np.diff(log.time_s)))
    reach = max(1, round(0.02 / period_s))
    rise = np.append(size[reach:] - size[:-reach], np.zeros(reach))
    near = maximum_filter1d(rise, 2 * round(0.25 / period_s) + 1)
    steep = np.flatnonzero((rise == near) & (rise > 0.5 * np.quantile(near, 0.9)))
    start_s = log.time_s[int(rng.choice(steep))] + rng.uniform(-1.0, 0.0) * duration_s
    return with_held(log, (log.time_s >= start_s) & (log.time_s < start_s + duration_s))


def often(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Stretches of 20 to 60 ms at any time, which take up a share of it."""
    total_s = float(log.time_s[-1] - log.time_s[0])
    starts_s = log.time_s[0] + rng.uniform(0.0, total_s, round(share * total_s / 0.04))
    held = np.zeros(len(log.time_s), dtype=bool)
    for start_s in starts_s:
        held |= (log.time_s >= start_s) & (log.time_s < start_s + rng.uniform(0.02, 0.06))
    return with_held(log, held)
