"""Vertical motion of points of a foot, and the speed at which it runs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import SegmentMotion
from imuproc.core.sites import Side
from imuproc.dsp.filters import differentiate, low_pass
from imuproc.dsp.rotations import cross, quat_conjugate, quat_rotate
from imuproc.files.settings_model import TRIED, StageSettings, number

FloatArray = NDArray[np.float64]

UP = np.array([0.0, 0.0, 1.0])


FORCE_PLATES = (
    "read off force plates (20 N): 11 runners at 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, "
    "PeerJ 5:e3298; the lag of its markers taken off) and three clips of two runners at 4.4 to 6.7 "
    "m/s overground (Goncalves et al. 2021, J Sci Med Sport 24:939); sensors made up, 500 Hz"
)
"""Basis of most numbers of touchdown and toe-off."""


class FootGeometry(StageSettings):
    """Where the points of a foot are, and how their velocities are smoothed."""

    heel_offset_m: tuple[float, float, float] = number(
        (-0.213, 0.0, -0.047),
        (-0.5, 0.5),
        "Forward, outward and upward from the pivot of the ball (near the joints of the toes) to "
        "the heel's sole.",
        "dimensions of feet, from memory",
    )
    ball_edge_offset_m: tuple[float, float, float] = number(
        (-0.02, 0.03, -0.047),
        (-0.5, 0.5),
        "The same to the outer edge of the ball's sole.",
        "dimensions of feet, from memory",
    )
    cutoff_hz: float = number(50.0, (5.0, 400.0), "Low-pass of point velocities.", TRIED)


@dataclass(frozen=True, eq=False)
class FootPoints:
    """Vertical velocities of points of one foot, and its pitch, shape (n,) each.

    The pivot of the ball, the outer edge of its sole, the heel and the line of the toes.
    """

    time_s: FloatArray
    rate_hz: float
    pivot_mps: FloatArray
    ball_mps: FloatArray
    heel_mps: FloatArray
    toe_mps: FloatArray
    heel_accel_mps2: FloatArray
    ball_accel_mps2: FloatArray
    pitch_rad: FloatArray


def track_foot_points(
    time_s: FloatArray,
    foot: SegmentMotion,
    side: Side,
    toe_offset_m: tuple[float, float, float],
    geometry: FootGeometry,
) -> FootPoints:
    """Points of one foot through a run.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    foot : SegmentMotion
    side : Side
    toe_offset_m : tuple of float
        From the pivot of the ball to the line of the toes: forward, outward, upward, in m.
    geometry : FootGeometry

    Returns
    -------
    FootPoints
    """
    rate_hz = (len(time_s) - 1) / (time_s[-1] - time_s[0])
    outward = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
    cutoff_hz = min(geometry.cutoff_hz, 0.4 * rate_hz)

    # The vertical part of omega x lever, as what one unit of lever in the foot's axes makes of it.
    across = cross(UP, foot.rate_world_radps)
    per_lever = quat_rotate(quat_conjugate(foot.quat_wxyz), across)
    pivot = (0.0, 0.0, 0.0)
    offsets = (pivot, geometry.ball_edge_offset_m, geometry.heel_offset_m, toe_offset_m)
    levers = np.array([foot.lever_m + outward * offset for offset in offsets])
    vertical = per_lever @ levers.T + foot.velocity_mps[:, 2:]
    middle, ball, heel, toe = np.ascontiguousarray(low_pass(vertical, cutoff_hz, rate_hz).T)
    return FootPoints(
        time_s=time_s,
        rate_hz=rate_hz,
        pivot_mps=middle,
        ball_mps=ball,
        heel_mps=heel,
        toe_mps=toe,
        heel_accel_mps2=differentiate(heel, rate_hz),
        ball_accel_mps2=differentiate(ball, rate_hz),
        pitch_rad=foot.pitch_rad,
    )


def measure_running_speed(time_s: FloatArray, foot: SegmentMotion, own: Contacts) -> FloatArray:
    """Running speed at each contact of one foot from its strides, in m/s, shape (m,).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    foot : SegmentMotion
    own : Contacts
        Of that foot.

    Returns
    -------
    ndarray, shape (m,)
        Stride means carried to each toe-off by straight lines; NaN with fewer than two contacts.
    """
    if len(own) < 2:
        return np.full(len(own), np.nan)
    middle = 0.5 * (own.touchdown_s + own.toe_off_s)
    way = np.concatenate(([0.0], np.cumsum(foot.velocity_mps[:-1, 0] * np.diff(time_s))))
    mean = np.diff(np.interp(middle, time_s, way)) / np.diff(middle)
    centre = 0.5 * (middle[1:] + middle[:-1])
    if len(mean) == 1:
        return np.full(len(own), mean[0])
    # The first and the last toe-off lie outside the strides' middles: go on as the strides do.
    line = np.searchsorted(centre, own.toe_off_s).clip(1, len(centre) - 1)
    share = (own.toe_off_s - centre[line - 1]) / (centre[line] - centre[line - 1])
    speed = mean[line - 1] + share * (mean[line] - mean[line - 1])
    return np.asarray(np.maximum(speed, 0.5 * mean.min()))
