"""Motion of the segments through one run."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.sites import Site

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SegmentMotion:
    """Orientation and velocity of one segment, world axes X forward, Y left, Z up.

    Parameters
    ----------
    site : Site
    quat_wxyz : ndarray, shape (n, 4)
        Turns segment axes into world axes.
    pitch_rad : ndarray, shape (n,)
        Sagittal rotation from quiet standing in rad, toe-up or lean-back positive, continuous.
        Foot pitch is this angle; shin angle is 90° plus this angle.
    pitch_rate_radps : ndarray, shape (n,)
        Its rate in rad/s.
    pitch_u_rad : ndarray, shape (n,)
        Standard uncertainty of ``pitch_rad`` in rad.
    rate_world_radps : ndarray, shape (n, 3)
        Angular velocity in rad/s, world axes.
    velocity_mps : ndarray, shape (n, 3)
        Velocity of the sensor in m/s, world axes; NaN where it is not known.
    lever_m : ndarray, shape (3,)
        From the sensor to the ground under the ball of the foot (foot) or to the ankle (shank) in
        m, segment axes; NaN where it is not known.
    pitch_parts_rad : mapping from str to ndarray, shape (n,)
        Standard uncertainties in rad that ``pitch_u_rad`` holds and that have a name of their own:
        ``clipping`` and ``rate``.
    bend_rad : ndarray, shape (n,), or None
        Direction of the way against world X, counterclockwise seen from above: around a curve the
        sagittal plane turns with it. None where the way is straight.
    heading_u_rad : ndarray, shape (n,), or None
        What samples that were clipped or are missing add to the standard uncertainty of its heading
        against the way, in rad; None where that is nothing.
    slip_u_rad : float
        Standard uncertainty in rad from a sensor that may have turned on its limb; ``pitch_u_rad``
        does not hold it.
    gyro_scale : tuple of float, or None
        By which share the gyroscope reads too little about the mediolateral axis, by the motion
        alone, and the standard uncertainty of that; None where it is not known.
    """

    site: Site
    quat_wxyz: FloatArray
    pitch_rad: FloatArray
    pitch_rate_radps: FloatArray
    pitch_u_rad: FloatArray
    rate_world_radps: FloatArray
    velocity_mps: FloatArray
    lever_m: FloatArray
    pitch_parts_rad: Mapping[str, FloatArray] = field(default_factory=dict)
    bend_rad: FloatArray | None = None
    heading_u_rad: FloatArray | None = None
    slip_u_rad: float = 0.0
    gyro_scale: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Motion:
    """All segments of one run on the recording's clock.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    segments : mapping from Site to SegmentMotion
    flags, history : tuple
    """

    time_s: FloatArray
    segments: Mapping[Site, SegmentMotion]
    flags: tuple[RaisedFlag, ...] = ()
    history: tuple[HistoryEntry, ...] = ()
