"""Plain strapdown integration of one sensor, and how it answers to small errors.

The errors of a strapdown solution are linear in small sensor errors around it (e.g. Titterton &
Weston 2004, *Strapdown Inertial Navigation Technology*, ch. 12). That makes drift a least-squares
problem: integrate once, then solve for the errors that the body's own rests reveal.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Conditioned, Interval
from imuproc.dsp.filters import average_blocks
from imuproc.dsp.integration import cumulative_integral, integrate_gyro, running_sum
from imuproc.dsp.rotations import (
    quat_between,
    quat_conjugate,
    quat_multiply,
    quat_rotate,
    quat_to_matrix,
    skew,
)

FloatArray = NDArray[np.float64]

GYRO_TERMS: Final = 24
"""Tilt and heading at the anchor (3), gyro bias (3), gyro matrix (9), g-sensitivity (9)."""
ERROR_TERMS: Final = 30
"""The gyro terms, then accelerometer bias (3) and scale (3)."""
_SENSITIVITY_RATE_HZ: Final = 75.0
"""Answers to small errors change slowly: they are worked out at about this rate."""


@dataclass(frozen=True, eq=False)
class Strapdown:
    """Orientation and velocity by integration alone.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    rate_hz : float
    quat_wxyz : ndarray, shape (n, 4)
        Turns segment axes into world axes (Z up, heading free).
    velocity_mps : ndarray, shape (n, 3)
        Velocity of the sensor in world axes, zero at the first sample.
    anchor_index : int
        Sample at which the orientation was levelled.
    """

    time_s: FloatArray
    rate_hz: float
    quat_wxyz: FloatArray
    velocity_mps: FloatArray
    anchor_index: int


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """How orientation and velocity answer to each error term, on a thinned clock.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
    tilt : ndarray, shape (3, 24, m)
        Rotation error in world axes (rad) per unit of each gyro term.
    velocity : ndarray, shape (3, 30, m)
        Velocity error in m/s per unit of each term.
    force_integral_mps : ndarray, shape (m, 3)
        Running integral of the specific force in world axes.
    """

    time_s: FloatArray
    tilt: FloatArray
    velocity: FloatArray
    force_integral_mps: FloatArray


def integrate(
    segment: Conditioned,
    time_s: FloatArray,
    rate_hz: float,
    anchor: Interval,
    gravity_mps2: float,
) -> Strapdown:
    """Integrate one segment's signals, levelled on a still stretch.

    Parameters
    ----------
    segment : Conditioned
    time_s : ndarray, shape (n,)
        The recording's clock in s.
    rate_hz : float
    anchor : Interval
        Still stretch whose mean specific force is vertical.
    gravity_mps2 : float

    Returns
    -------
    Strapdown
    """
    chain = integrate_gyro(segment.gyro_radps, rate_hz, np.array([1.0, 0.0, 0.0, 0.0]))
    inside = (time_s >= anchor.start_s) & (time_s <= anchor.end_s)
    index = int(np.argmin(np.abs(time_s - 0.5 * (anchor.start_s + anchor.end_s))))
    # Mean force of the still stretch as seen at its middle sample, however little the body sways.
    force = quat_rotate(chain[inside], segment.accel_mps2[inside]).mean(axis=0)
    level = quat_rotate(quat_conjugate(chain[index]), force)
    upright = quat_between(level, np.array([0.0, 0.0, 1.0]))
    start = quat_multiply(upright, quat_conjugate(chain[index]))
    quat = quat_multiply(start, chain)
    force = quat_rotate(quat, segment.accel_mps2)
    velocity = cumulative_integral(force - np.array([0.0, 0.0, gravity_mps2]), rate_hz)
    return Strapdown(time_s, rate_hz, quat, velocity, index)


def compute_sensitivity(strapdown: Strapdown, segment: Conditioned) -> Sensitivity:
    """Answer of orientation and velocity to each error term.

    Computed on block means at about 75 Hz: an error of a per cent in it does not matter.

    Parameters
    ----------
    strapdown : Strapdown
    segment : Conditioned

    Returns
    -------
    Sensitivity
    """
    n, rate_hz = len(strapdown.time_s), strapdown.rate_hz
    block = max(1, round(rate_hz / _SENSITIVITY_RATE_HZ))
    count = (n - 1) // block
    dt = block / rate_hz
    # Blocks along the last axis: arithmetic is several times as fast along a long one.
    matrix = quat_to_matrix(strapdown.quat_wxyz[block // 2 : count * block : block])
    turn_s = dt * np.ascontiguousarray(np.moveaxis(matrix, 0, -1))
    gyro, accel = (
        np.ascontiguousarray(average_blocks(signal[: count * block], block).T)
        for signal in (segment.gyro_radps, segment.accel_mps2)
    )
    products = (turn_s[:, :, None] * signal for signal in (gyro, accel))
    turned = np.concatenate((turn_s, *(p.reshape(3, 9, count) for p in products)), axis=1)
    gathered = running_sum(turned)
    force_integral = gathered[:, 12::4].sum(axis=1)
    velocity = np.empty((3, ERROR_TERMS, count + 1))
    velocity[:, GYRO_TERMS:] = gathered[:, [0, 1, 2, 12, 16, 20]]
    anchor = min(strapdown.anchor_index // block, count)
    gathered -= gathered[:, :, anchor, None].copy()
    velocity[:, :3] = np.moveaxis(-skew(force_integral.T), 0, -1)
    velocity[:, 3:GYRO_TERMS] = running_sum(_integrate_pushes(np.diff(force_integral), gathered))
    tilt = np.empty((3, GYRO_TERMS, count + 1))
    tilt[:, :3], tilt[:, 3:] = np.eye(3)[:, :, None], gathered
    return Sensitivity(
        time_s=strapdown.time_s[0] + np.arange(count + 1) * dt,
        tilt=tilt,
        velocity=velocity,
        force_integral_mps=force_integral.T,
    )


def _integrate_pushes(force_mps: FloatArray, tilt: FloatArray) -> FloatArray:
    """Change of velocity over each block by the force (3, m - 1) that a tilt (3, k, m) turns."""
    half = 0.5 * force_mps
    twice = tilt[:, :, 1:] + tilt[:, :, :-1]
    out = np.empty_like(twice)
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(twice[j], half[k], out=out[i])
        out[i] -= twice[k] * half[j]
    return out


def interpolate_along(values: FloatArray, clock_s: FloatArray, time_s: FloatArray) -> FloatArray:
    """As :func:`interpolate_at`, of values with time last: shape (..., n) to (k, ...)."""
    low, share = _find_places(clock_s, time_s)
    before, after = np.take(values, low, axis=-1), np.take(values, low + 1, axis=-1)
    after -= before
    after *= share
    after += before
    return np.moveaxis(after, -1, 0)


def interpolate_at(values: FloatArray, clock_s: FloatArray, time_s: FloatArray) -> FloatArray:
    """Values on a regular clock interpolated linearly at given times, shape (k, ...)."""
    low, share = _find_places(clock_s, time_s)
    share = share.reshape(-1, *([1] * (values.ndim - 1)))
    before, after = np.take(values, low, axis=0), np.take(values, low + 1, axis=0)
    after -= before
    after *= share
    after += before
    return np.asarray(after)


def _find_places(clock_s: FloatArray, time_s: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
    """Last instant of a regular clock before each time, and how far on to the next it is."""
    step = clock_s[1] - clock_s[0]
    position = np.clip((time_s - clock_s[0]) / step, 0.0, len(clock_s) - 1.000001)
    low = position.astype(np.int64)
    return low, position - low
