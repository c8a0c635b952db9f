"""One segment integrated once, and integrated anew where it turned unseen."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Conditioned, Interval
from imuproc.dsp.rotations import (
    quat_conjugate,
    quat_from_rotvec,
    quat_multiply,
    quat_rotate,
)
from imuproc.motion.drift import DriftProblem, DriftSolution
from imuproc.motion.observations import Blindness, measure_blindness
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import (
    Sensitivity,
    Strapdown,
    compute_sensitivity,
    integrate,
    interpolate_at,
)
from imuproc.motion.tilt import sum_random_walk_rad

FloatArray = NDArray[np.float64]

_LARGE_RAD = np.radians(6.0)
"""Smaller turns are solved well enough by the linear least squares."""


@dataclass(frozen=True, eq=False)
class Prepared:
    """One segment integrated once; contacts change nothing in it.

    Parameters
    ----------
    segment : Conditioned
        Signals of the stretch to solve.
    anchor : Interval
        Still stretch on which the orientation is levelled (standing).
    strapdown : Strapdown
        In a world with Z up and any heading.
    sensitivity : Sensitivity
    blind : Blindness
    gravity_mps2 : float
    accel_off : float
        By which share the accelerometer reads other than gravity in that stretch.
    put_in_rad : ndarray, shape (a - 1, 3), or None
        What the signals hold of turns that were not seen, between the anchors that told them.
    """

    segment: Conditioned
    anchor: Interval
    strapdown: Strapdown
    sensitivity: Sensitivity
    blind: Blindness
    gravity_mps2: float
    accel_off: float
    put_in_rad: FloatArray | None = None


def prepare_segment(
    segment: Conditioned,
    time_s: FloatArray,
    rate_hz: float,
    gravity_mps2: float,
    settings: MotionSettings,
) -> Prepared | None:
    """Integrate one segment, levelled on quiet standing.

    Parameters
    ----------
    segment : Conditioned
    time_s : ndarray, shape (n,)
    rate_hz, gravity_mps2 : float
    settings : MotionSettings

    Returns
    -------
    Prepared or None
        None where there is no quiet standing.
    """
    anchor = segment.calibration.still_before or segment.calibration.still_after
    if anchor is None:
        return None
    strapdown = integrate(segment, time_s, rate_hz, anchor, gravity_mps2)
    blind = measure_blindness(segment, rate_hz, settings)
    still = (time_s >= anchor.start_s) & (time_s <= anchor.end_s)
    size = float(np.linalg.norm(segment.accel_mps2[still].mean(axis=0)))
    return Prepared(
        segment,
        anchor,
        strapdown,
        compute_sensitivity(strapdown, segment),
        blind,
        gravity_mps2,
        abs(size / gravity_mps2 - 1.0),
    )


def add_hidden_turns(
    prepared: Prepared, problem: DriftProblem, solution: DriftSolution, settings: MotionSettings
) -> Prepared | None:
    """The segment integrated anew with what its gyroscope has missed, where it has missed much.

    The least squares is linear in the turns that were not seen. What adds up to many degrees over
    a run is no small error: it is put in, and the rest has to be solved anew (another step of
    Gauss-Newton).

    Parameters
    ----------
    prepared : Prepared
    problem : DriftProblem
    solution : DriftSolution
    settings : MotionSettings

    Returns
    -------
    Prepared or None
        None where nothing large was missed.
    """
    strapdown, hidden_rad = prepared.strapdown, prepared.blind.rotation_sd_rad
    anchor_s = problem.anchors.time_s
    tilt = sum_random_walk_rad(problem, solution, anchor_s)[:, :2]
    if np.abs(tilt).max(initial=0.0) < _LARGE_RAD:
        return None
    steps = np.maximum(np.diff(interpolate_at(hidden_rad, strapdown.time_s, anchor_s)), 1e-9)
    hidden = np.diff(hidden_rad, prepend=0.0)
    link = np.searchsorted(anchor_s, strapdown.time_s) - 1
    inside = (link >= 0) & (link < len(steps)) & (hidden > 0.0)
    if not inside.any():
        return None
    rate = np.zeros((len(hidden), 3))
    share = hidden[inside] / steps[link[inside]]
    rate[inside] = solution.random_walk_rad[link[inside]] * share[:, None] * strapdown.rate_hz
    so_far = sum_random_walk_rad(problem, solution, strapdown.time_s)
    quat = quat_multiply(quat_from_rotvec(so_far), strapdown.quat_wxyz)
    segment = prepared.segment
    gyro = segment.gyro_radps + quat_rotate(quat_conjugate(quat), rate)
    anew = prepare_segment(
        replace(segment, gyro_radps=gyro),
        strapdown.time_s,
        strapdown.rate_hz,
        prepared.gravity_mps2,
        settings,
    )
    before = 0.0 if prepared.put_in_rad is None else prepared.put_in_rad
    return None if anew is None else replace(anew, put_in_rad=before + solution.random_walk_rad)
