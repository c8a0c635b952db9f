"""Integration of sampled rates and accelerations without a loop over samples."""

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.rotations import (
    cross,
    quat_cumulative_product,
    quat_from_rotvec,
)

FloatArray = NDArray[np.float64]


def compute_increments(rate: FloatArray, rate_hz: float) -> FloatArray:
    """Integral of a sampled signal over each sampling interval, to fourth order.

    Uses the cubic through the four samples around each interval; the trapezoid at both ends.

    Parameters
    ----------
    rate : ndarray, shape (n, ...)
        Samples on a regular clock.
    rate_hz : float
        Sampling rate in Hz.

    Returns
    -------
    ndarray, shape (n - 1, ...)
        Integral from each sample to the next, unit of ``rate`` times s.
    """
    if len(rate) < 4:
        return np.asarray((rate[:-1] + rate[1:]) * (0.5 / rate_hz))
    out = np.empty((len(rate) - 1, *rate.shape[1:]))
    out[[0, -1]] = (rate[[0, -2]] + rate[[1, -1]]) * (0.5 / rate_hz)
    inner = np.add(rate[1:-2], rate[2:-1], out=out[1:-1])
    inner *= 13.0
    inner -= rate[:-3]
    inner -= rate[3:]
    inner *= 1.0 / (24.0 * rate_hz)
    return out


def cumulative_integral(rate: FloatArray, rate_hz: float) -> FloatArray:
    """Integral of a sampled signal from the first sample on, zero there, shape as ``rate``."""
    out = np.zeros_like(rate, dtype=np.float64)
    np.cumsum(compute_increments(rate, rate_hz), axis=0, out=out[1:])
    return out


def running_sum(steps: FloatArray) -> FloatArray:
    """Sum of all steps before each instant along the last axis, shape (..., n) to (..., n + 1)."""
    out = np.zeros((*steps.shape[:-1], steps.shape[-1] + 1))
    np.cumsum(steps, axis=-1, out=out[..., 1:])
    return out


def integrate_gyro(gyro_radps: FloatArray, rate_hz: float, start_wxyz: FloatArray) -> FloatArray:
    """Orientation from angular velocity in body axes.

    Each interval's rotation vector is the integral of the rate plus the first commutator term of
    the Magnus series (coning; e.g. Savage 1998, J Guid Control Dyn 21:19), and the rotations are
    chained by a parallel prefix product.

    Parameters
    ----------
    gyro_radps : ndarray, shape (n, 3)
        Angular velocity in rad/s, body axes.
    rate_hz : float
        Sampling rate in Hz.
    start_wxyz : ndarray, shape (4,)
        Orientation at the first sample.

    Returns
    -------
    ndarray, shape (n, 4)
        Unit quaternions that turn body axes into reference axes.
    """
    coning = cross(gyro_radps[:-1], gyro_radps[1:]) / (12.0 * rate_hz**2)
    steps = quat_from_rotvec(compute_increments(gyro_radps, rate_hz) + coning)
    return quat_cumulative_product(np.concatenate((start_wxyz[None], steps)))
