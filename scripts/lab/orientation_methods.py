"""Ways to hold drift of orientation down, as plain array functions, for comparison.

All take signals in segment axes (x forward, y left, z up in standing), bias of standing removed,
and give quaternions that turn segment axes into world axes (z up). None of them looks at contacts
but the last. Written from the published descriptions; the orientation filter is the open
general-purpose library ``vqf``.
"""

import numpy as np
import vqf
from numpy.typing import NDArray

from imuproc.core.recording import Interval
from imuproc.dsp.integration import cumulative_integral, integrate_gyro
from imuproc.dsp.rotations import (
    compute_sagittal_angle,
    norm,
    quat_between,
    quat_conjugate,
    quat_from_rotvec,
    quat_multiply,
    quat_rotate,
    quat_to_rotvec,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

UP = np.array([0.0, 0.0, 1.0])
UPRIGHT = np.array([1.0, 0.0, 0.0, 0.0])


def _select_inside(time_s: FloatArray, part: Interval) -> NDArray[np.bool_]:
    return (time_s >= part.start_s) & (time_s <= part.end_s)


def filter_orientation(
    gyro_radps: FloatArray, accel_mps2: FloatArray, rate_hz: float, slow_s: float | None = None
) -> FloatArray:
    """Plain orientation filter without a magnetometer, offline form.

    Laidig & Seel 2023, Information Fusion 91:187.

    Parameters
    ----------
    gyro_radps, accel_mps2 : ndarray, shape (n, 3)
    rate_hz : float
    slow_s : float, optional
        Time constant of the correction by gravity in s; the filter's default when left out.

    Returns
    -------
    ndarray, shape (n, 4)
    """
    gyro, accel = np.ascontiguousarray(gyro_radps), np.ascontiguousarray(accel_mps2)
    settings = {} if slow_s is None else {"tauAcc": slow_s}
    return np.asarray(vqf.offlineVQF(gyro, accel, None, 1.0 / rate_hz, settings)["quat6D"])


def filter_orientation_live(
    gyro_radps: FloatArray, accel_mps2: FloatArray, rate_hz: float
) -> FloatArray:
    """Plain orientation filter without a magnetometer, in real-time form: it sees the past only."""
    gyro, accel = np.ascontiguousarray(gyro_radps), np.ascontiguousarray(accel_mps2)
    return np.asarray(vqf.VQF(1.0 / rate_hz).updateBatch(gyro, accel)["quat6D"])


def integrate_rate(
    time_s: FloatArray, gyro_radps: FloatArray, rate_hz: float, still: Interval
) -> FloatArray:
    """Integration of angular rate alone, upright in the middle of a still stretch.

    Titterton & Weston 2004, *Strapdown Inertial Navigation Technology*.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    gyro_radps : ndarray, shape (n, 3)
    rate_hz : float
    still : Interval
        Quiet standing, in which the segment axes are upright.

    Returns
    -------
    ndarray, shape (n, 4)
    """
    chain = integrate_gyro(gyro_radps, rate_hz, UPRIGHT)
    middle = int(np.argmin(np.abs(time_s - 0.5 * (still.start_s + still.end_s))))
    return quat_multiply(quat_conjugate(chain[middle]), chain)


def close_between_stands(
    time_s: FloatArray,
    quat_wxyz: FloatArray,
    accel_mps2: FloatArray,
    stands: tuple[Interval, Interval],
    share: FloatArray,
) -> FloatArray:
    """Integration that meets gravity in standing before and after, the difference spread between.

    Alignment at start and end with drift spread evenly is common practice (no single source; for
    one stride e.g. Mariani et al. 2010, J Biomech 43:2999, from memory).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    quat_wxyz : ndarray, shape (n, 4)
        By integration.
    accel_mps2 : ndarray, shape (n, 3)
    stands : tuple of Interval
        Quiet standing before and after.
    share : ndarray, shape (n,)
        Never falling: how drift is spread, e.g. time (:func:`spread_drift_by_time`) or amount of
        motion (:func:`spread_drift_by_motion`).

    Returns
    -------
    ndarray, shape (n, 4)
        Drift of heading is left as it is: gravity does not show it.
    """
    error, at = [], []
    for part in stands:
        rows = _select_inside(time_s, part)
        force = quat_rotate(quat_wxyz[rows], accel_mps2[rows]).mean(axis=0)
        error.append(quat_to_rotvec(quat_between(force, UP)))
        at.append(share[rows].mean())
    done = ((share - at[0]) / (at[1] - at[0]))[:, None]
    correction = quat_from_rotvec((1.0 - done) * error[0] + done * error[1])
    return quat_multiply(correction, quat_wxyz)


def spread_drift_by_time(time_s: FloatArray) -> FloatArray:
    """Drift grows evenly in time, shape (n,)."""
    return time_s - time_s[0]


def spread_drift_by_motion(gyro_radps: FloatArray, rate_hz: float) -> FloatArray:
    """Drift grows with the angle turned through, as errors of scale do, shape (n,)."""
    return cumulative_integral(norm(gyro_radps), rate_hz)


def level_in_stance(
    quat_wxyz: FloatArray, accel_mps2: FloatArray, rests: IntArray, rate_hz: float
) -> FloatArray:
    """Integration that is levelled by the accelerometer at the stillest instant of every stance.

    The plain zero-velocity idea: the mean force over 40 ms about the instant is taken for gravity,
    and the tilt error is spread evenly in time between instants (e.g. Mariani et al. 2010, J
    Biomech 43:2999, walking; from memory).

    Parameters
    ----------
    quat_wxyz : ndarray, shape (n, 4)
        By integration.
    accel_mps2 : ndarray, shape (n, 3)
    rests : ndarray of int, shape (m,)
        Ascending samples.
    rate_hz : float

    Returns
    -------
    ndarray, shape (n, 4)
    """
    half = max(1, round(0.02 * rate_hz))
    around = rests[:, None] + np.arange(-half, half + 1)
    around = around.clip(0, len(quat_wxyz) - 1)
    force = quat_rotate(quat_wxyz[around], accel_mps2[around]).mean(axis=1)
    error = np.array([quat_to_rotvec(quat_between(one, UP)) for one in force])
    clock = np.arange(len(quat_wxyz))
    spread = np.stack([np.interp(clock, rests, error[:, k]) for k in range(3)], axis=-1)
    return quat_multiply(quat_from_rotvec(spread), quat_wxyz)


def compute_sagittal_deg(
    time_s: FloatArray,
    quat_wxyz: FloatArray,
    gyro_radps: FloatArray,
    axis: FloatArray,
    still: Interval,
) -> FloatArray:
    """Sagittal angle of a segment axis against standing in deg, shape (n,).

    The sagittal plane is the vertical one across the world axis about which the segment turned
    most, so that no method is harmed by a heading that starts anywhere.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    quat_wxyz : ndarray, shape (n, 4)
    gyro_radps : ndarray, shape (n, 3)
    axis : ndarray, shape (3,)
        Segment axis, e.g. (1, 0, 0) for foot pitch.
    still : Interval
        Standing, where the angle is zero.

    Returns
    -------
    ndarray, shape (n,)
    """
    rows = _select_inside(time_s, still)
    rate = quat_rotate(quat_wxyz, gyro_radps)[:, :2]
    main = np.linalg.eigh(rate.T @ rate)[1][:, -1]  # horizontal, either to the left or to the right
    left = quat_rotate(quat_wxyz[rows], np.array([0.0, 1.0, 0.0])).mean(axis=0)[:2]
    main = main * np.sign(main @ left)
    turn = quat_from_rotvec(-np.arctan2(-main[0], main[1]) * UP)
    angle = compute_sagittal_angle(quat_multiply(turn, quat_wxyz), axis)
    return np.degrees(angle - angle[rows].mean())
