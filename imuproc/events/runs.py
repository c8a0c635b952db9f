"""Runs in a log: stretches of fast leg swings, whatever the sensors' mounting.

Standing has no fast rotation, walking swings the leg at 5 to 7 rad/s, a jump has one or two fast
rotations and no more; running swings it at 9 rad/s and above, again and again (rates read off the
open optical data of Fukuchi et al. 2017 for running; for walking from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from imuproc.core.recording import Interval
from imuproc.core.sites import Site, is_foot
from imuproc.dsp.filters import low_pass

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class RunSettings:
    """What makes a run.

    Parameters
    ----------
    cutoff_hz : float
        Low-pass of the rotation rate before peaks are counted.
    shank_swing_radps, foot_swing_radps : float
        Least peak rate of a running swing.
    longest_pause_s : float
        Longest time between two fast swings of one run.
    fewest_swings : int
        Fast swings of one sensor that make a run.
    margin_s : float
        Added at both ends: the first push and the last stance have no fast swing of their own.
    """

    cutoff_hz: float = 8.0
    shank_swing_radps: float = 7.5
    foot_swing_radps: float = 8.5
    longest_pause_s: float = 1.2
    fewest_swings: int = 2
    margin_s: float = 0.8


def find_runs(
    time_s: FloatArray,
    rate_hz: float,
    gyro_radps: Mapping[Site, FloatArray],
    settings: RunSettings,
) -> tuple[Interval, ...]:
    """Stretches of running in a log.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Regular clock in s.
    rate_hz : float
    gyro_radps : mapping from Site to ndarray, shape (n, 3)
        Angular velocity in rad/s in any axes; NaN where missing.
    settings : RunSettings

    Returns
    -------
    tuple of Interval
        In order of time, margins included, never overlapping.
    """
    legs = {site: gyro for site, gyro in gyro_radps.items() if site != "pelvis"}
    times = [
        _fast_swings(time_s, rate_hz, gyro, _threshold(site, settings), settings.cutoff_hz)
        for site, gyro in legs.items()
    ]
    fast = np.sort(np.concatenate(times)) if times else np.empty(0)
    if len(fast) == 0:
        return ()
    breaks = np.flatnonzero(np.diff(fast) > settings.longest_pause_s)
    starts = np.concatenate(([0], breaks + 1))
    ends = np.concatenate((breaks, [len(fast) - 1]))
    fewest = settings.fewest_swings * max(1, len(legs) // 2)
    found = [
        (float(fast[a]) - settings.margin_s, float(fast[b]) + settings.margin_s)
        for a, b in zip(starts, ends, strict=True)
        if b - a + 1 >= 2 * fewest
    ]
    first, last = float(time_s[0]), float(time_s[-1])
    return tuple(Interval(max(start, first), min(end, last)) for start, end in found)


def _threshold(site: Site, settings: RunSettings) -> float:
    return settings.foot_swing_radps if is_foot(site) else settings.shank_swing_radps


def _fast_swings(
    time_s: FloatArray, rate_hz: float, gyro: FloatArray, threshold: float, cutoff_hz: float
) -> FloatArray:
    """Times of rate peaks above a threshold."""
    smooth = low_pass(gyro, min(cutoff_hz, 0.4 * rate_hz), rate_hz)
    norm = np.nan_to_num(np.linalg.norm(smooth, axis=1))
    peaks, _ = find_peaks(norm, height=threshold, distance=max(1, int(0.12 * rate_hz)))
    return np.asarray(time_s[peaks])
