"""A whole sensor repeats a sample (sample-and-hold), as where a radio link loses packets."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from imuproc.core.recording import SensorLog

BoolArray = NDArray[np.bool_]


def repeat_samples(log: SensorLog, repeated: BoolArray) -> SensorLog:
    """Replace each sample of a mask by the last one before it.

    Parameters
    ----------
    log : SensorLog
    repeated : ndarray of bool, shape (n,)
        The first sample stays what it is.
    """
    repeated = repeated.copy()
    repeated[0] = False
    own = np.maximum.accumulate(np.where(repeated, 0, np.arange(len(repeated))))
    return replace(log, accel_mps2=log.accel_mps2[own], gyro_radps=log.gyro_radps[own])


def repeat_in_swing(log: SensorLog, duration_s: float, rng: np.random.Generator) -> SensorLog:
    """Repeat a sample around a moment at which the sensor turns nearly as fast as ever."""
    size = np.linalg.norm(log.gyro_radps, axis=1)
    fast = log.time_s[size > 0.7 * np.quantile(size, 0.995)]
    start_s = float(rng.choice(fast)) - rng.uniform() * duration_s
    return repeat_samples(log, (log.time_s >= start_s) & (log.time_s < start_s + duration_s))


def repeat_at_touchdown(log: SensorLog, duration_s: float, rng: np.random.Generator) -> SensorLog:
    """Repeat a sample around one of the steepest rises of force (within a quarter of a second)."""
    size = np.linalg.norm(log.accel_mps2, axis=1)
    period_s = float(np.median(np.diff(log.time_s)))
    reach = max(1, round(0.02 / period_s))
    rise = np.append(size[reach:] - size[:-reach], np.zeros(reach))
    near = maximum_filter1d(rise, 2 * round(0.25 / period_s) + 1)
    steep = np.flatnonzero((rise == near) & (rise > 0.5 * np.quantile(near, 0.9)))
    start_s = log.time_s[int(rng.choice(steep))] + rng.uniform(-1.0, 0.0) * duration_s
    return repeat_samples(log, (log.time_s >= start_s) & (log.time_s < start_s + duration_s))


def repeat_often(log: SensorLog, share: float, rng: np.random.Generator) -> SensorLog:
    """Repeat samples for 20 to 60 ms at any times, which take up a share of the log."""
    total_s = float(log.time_s[-1] - log.time_s[0])
    starts_s = log.time_s[0] + rng.uniform(0.0, total_s, round(share * total_s / 0.04))
    repeated = np.zeros(len(log.time_s), dtype=bool)
    for start_s in starts_s:
        repeated |= (log.time_s >= start_s) & (log.time_s < start_s + rng.uniform(0.02, 0.06))
    return repeat_samples(log, repeated)
