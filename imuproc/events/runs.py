"""Runs in a log: stretches of fast leg swings that follow each other soon.

Standing has no fast rotation, a jump has one or two fast rotations and no more. Walking swings the
leg nearly as fast as a slow jog (6 to 8 rad/s against 7 to 11), but its strides take a second and
more, those of running 0.4 to 0.9 s (running: open data of Fukuchi, Fukuchi & Duarte 2017, PeerJ
5:e3298; walking from memory, medium).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from imuproc.core.recording import Interval
from imuproc.core.sites import Site
from imuproc.dsp.filters import low_pass

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class RunSettings:
    """What makes a run.

    Parameters
    ----------
    cutoff_hz : float
        Low-pass of the rotation rate before peaks are counted.
    least_swing_radps : float
        Least peak rate of a running swing.
    shortest_stride_s, longest_stride_s : float
        Time from one swing of a leg to its next in running.
    longest_pause_s : float
        Longest time between two fast swings of one run.
    fewest_swings : int
        Fast swings of one leg that make a run.
    margin_s : float
        Added at both ends: the first push and the last stance have no fast swing of their own.
    """

    cutoff_hz: float = 8.0
    least_swing_radps: float = 6.0
    shortest_stride_s: float = 0.28
    longest_stride_s: float = 0.95
    longest_pause_s: float = 1.2
    fewest_swings: int = 2
    margin_s: float = 1.2


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
    legs = [gyro for site, gyro in gyro_radps.items() if site != "pelvis"]
    times = [_fast_swings(time_s, rate_hz, gyro, settings) for gyro in legs]
    fast = np.sort(np.concatenate(times)) if times else np.empty(0)
    if len(fast) == 0:
        return ()
    breaks = np.flatnonzero(np.diff(fast) > settings.longest_pause_s)
    starts = np.concatenate(([0], breaks + 1))
    ends = np.concatenate((breaks, [len(fast) - 1]))
    # A leg turns fast twice a stride, forward and back; each of its sensors sees both.
    fewest = 2 * settings.fewest_swings * max(1, len(legs) // 2)
    kept = ends - starts + 1 >= fewest
    return _with_margins(fast[starts[kept]], fast[ends[kept]], time_s, settings.margin_s)


def _with_margins(
    first_s: FloatArray, last_s: FloatArray, time_s: FloatArray, margin_s: float
) -> tuple[Interval, ...]:
    """Stretches widened by a margin, but not beyond half-way to the next one or the log's ends."""
    half_way = 0.5 * (last_s[:-1] + first_s[1:])
    start = np.maximum(first_s - margin_s, np.append(time_s[0], half_way))
    end = np.minimum(last_s + margin_s, np.append(half_way, time_s[-1]))
    return tuple(Interval(float(a), float(b)) for a, b in zip(start, end, strict=True))


def _fast_swings(
    time_s: FloatArray, rate_hz: float, gyro: FloatArray, settings: RunSettings
) -> FloatArray:
    """Times of fast turns about the sensor's main axis of rotation, a stride from the next one.

    Which way is forward is not known yet: turns both ways count, each way for itself.
    """
    smooth = np.nan_to_num(low_pass(gyro, min(settings.cutoff_hz, 0.4 * rate_hz), rate_hz))
    _, axes = np.linalg.eigh(smooth.T @ smooth)
    rate = smooth @ axes[:, -1]
    distance = max(1, int(settings.shortest_stride_s * rate_hz))
    times = []
    for way in (rate, -rate):
        peaks, _ = find_peaks(way, height=settings.least_swing_radps, distance=distance)
        soon = np.diff(time_s[peaks]) < settings.longest_stride_s
        if len(peaks):
            times.append(time_s[peaks[np.append(soon, False) | np.append(False, soon)]])
    return np.concatenate(times) if times else np.empty(0)
