"""How far a sensor on a leg gets from stride to stride, with no calibration at all.

Between two instants at which the velocity is alike the mean specific force is gravity: taken off,
what is left integrates to the velocity against that of these instants, and its mean over the stride
times the stride time is the way of a stride. The instants are those at which the force itself is
nearest to gravity: a foot on the ground is not accelerated however hard the body is. It does not
move then; a shank turns about the ankle. (Velocity at rest in stance as the anchor of a stride:
e.g. Foxlin 2005, IEEE Comput Graph Appl 25:38, from memory.)
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import Site, is_foot
from imuproc.dsp.filters import (
    average_blocks,
    choose_block,
    choose_odd_width,
    find_finite_rows,
    low_pass,
    moving_mean,
)
from imuproc.dsp.integration import integrate_gyro
from imuproc.dsp.peaks import find_peaks
from imuproc.dsp.rotations import norm, quat_rotate
from imuproc.files.settings_model import TRIED, StageSettings, number

FloatArray = NDArray[np.float64]

_ENOUGH_HZ = 200.0
"""Faster signals are averaged down to about this rate."""
_START = np.array([1.0, 0.0, 0.0, 0.0])


@dataclass(frozen=True, eq=False)
class Track:
    """Signals of one sensor on a regular clock, in any axes.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    rate_hz : float
    gyro_radps, accel_mps2 : ndarray, shape (n, 3)
        NaN where missing.
    """

    time_s: FloatArray
    rate_hz: float
    gyro_radps: FloatArray
    accel_mps2: FloatArray

    def slice_between(self, start_s: float, end_s: float) -> "Track":
        """The part from one instant to another, both included; it may be empty."""
        first = int(np.searchsorted(self.time_s, start_s))
        last = int(np.searchsorted(self.time_s, end_s, side="right"))
        return Track(
            self.time_s[first:last],
            self.rate_hz,
            self.gyro_radps[first:last],
            self.accel_mps2[first:last],
        )


class ProgressSettings(StageSettings):
    """How strides are told apart and measured."""

    basis = TRIED
    cutoff_hz: float = number(
        8.0, (1.0, 50.0), "Low-pass of the rotation rate before its peaks are sought."
    )
    least_swing_radps: float = number(5.0, (0.5, 40.0), "Least peak rate of a swing.")
    shortest_stride_s: float = number(0.28, (0.1, 2.0), "Shorter strides are not measured.")
    longest_stride_s: float = number(1.0, (0.2, 5.0), "Longer strides are not measured.")
    quiet_s: float = number(
        0.06,
        (0.005, 0.5),
        "Window in which the specific force is as near to gravity as it gets in a stride.",
    )
    gravity_s: float = number(
        1.0, (0.2, 10.0), "Window whose mean force is taken for gravity: about two strides."
    )
    ankle_m: float = number(
        0.22,
        (0.02, 0.5),
        "Usual distance from a sensor on the shank down to the ankle; coarse contacts and motion "
        "look for the ankle there, too.",
        "from memory; marks of contact hardly move between 0.12 and 0.30 m",
    )

    ordered = (("shortest_stride_s", "longest_stride_s"),)


def measure_stride_lengths(track: Track, site: Site, settings: ProgressSettings) -> FloatArray:
    """Horizontal way of each stride of one sensor.

    Parameters
    ----------
    track : Track
        A stretch of fast swings.
    site : Site
    settings : ProgressSettings

    Returns
    -------
    ndarray, shape (k,)
        In m; strides with missing samples, or too short or too long to be of running, left out.
    """
    block = choose_block(track.rate_hz, _ENOUGH_HZ)
    rate_hz = track.rate_hz / block
    if len(track.time_s) < 2 * block * settings.longest_stride_s * rate_hz:
        return np.empty(0)
    gyro, accel = average_blocks(track.gyro_radps, block), average_blocks(track.accel_mps2, block)
    known = find_finite_rows(gyro) & find_finite_rows(accel)
    gyro, accel = (np.where(known[:, None], x, 0.0) for x in (gyro, accel))
    force = quat_rotate(integrate_gyro(gyro, rate_hz, _START), accel)
    width = choose_odd_width(settings.quiet_s, rate_hz)
    gravity = moving_mean(force, choose_odd_width(settings.gravity_s, rate_hz))
    shaking = moving_mean(norm(force - gravity), width)
    turning = moving_mean(norm(gyro), width)
    quiet = _find_quiet_instants(gyro, shaking, rate_hz, settings)
    arm_m = 0.0 if is_foot(site) else settings.ankle_m
    out = []
    for first, last in pairwise(quiet.tolist()):  # over strides
        duration_s = (last - first) / rate_hz
        fits = settings.shortest_stride_s <= duration_s <= settings.longest_stride_s
        if fits and known[first : last + 1].all():
            speed = _compute_mean_speed(force[first : last + 1], rate_hz)
            speed += 0.5 * arm_m * (turning[first] + turning[last])
            out.append(speed * duration_s)
    return np.array(out)


def _find_quiet_instants(
    gyro: FloatArray, shaking: FloatArray, rate_hz: float, settings: ProgressSettings
) -> NDArray[np.int64]:
    """The sample nearest to rest between each swing forward and the next: that of mid-stance."""
    smooth = low_pass(gyro, min(settings.cutoff_hz, 0.4 * rate_hz), rate_hz)
    _, axes = np.linalg.eigh(smooth.T @ smooth)
    rate = smooth @ axes[:, -1]
    rate = rate * np.sign(np.mean(rate**3))  # a leg swings forward faster than back
    distance = int(settings.shortest_stride_s * rate_hz)
    peaks = find_peaks(rate, settings.least_swing_radps, distance)
    return np.array([a + int(np.argmin(shaking[a:b])) for a, b in pairwise(peaks)], dtype=np.int64)


def _compute_mean_speed(force: FloatArray, rate_hz: float) -> float:
    """Mean horizontal speed over a stride against that at its ends, in m/s."""
    gravity = force.mean(axis=0)
    up = gravity / max(float(np.linalg.norm(gravity)), 1e-9)
    velocity = np.cumsum(force - gravity, axis=0).mean(axis=0) / rate_hz
    return float(np.linalg.norm(velocity - up * (velocity @ up)))
