"""Which way the toes point in a foot sensor: read a second time, from the heel's rise in stance.

A sensor on the foot feels how the foot turns, not where its heel and toe are. Calibration takes the
heel-to-toe line from the main axis of rotation over the whole stride. Swing decides that axis, and
there the foot follows the leg. While the heel rises the foot turns about the ball, against the
ground, and that axis stands to the heel-to-toe line in its own way: what one foot has of its own in
the one has little to do with the other (correlation 0.45).

Foot pitch is off by the error of the line times the sine of the foot's roll, which is 7 to 26 deg
at touchdown. Over 22 feet of 11 runners, 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, PeerJ
5:e3298), RMS error of the line in runners left out of the fit: main axis 4.3 deg, heel rise 4.3,
both alike 3.9, heading of the foot in mid-stance 6.2, main axis and heading 4.9, all three 4.4.
Heading and the rest of the swing are therefore left out. The offset of the heel's rise does not
move with speed (-3.1, -3.5 and -3.1 deg); that of the main axis falls from 10.4 to 8.9 deg.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.recording import Conditioned
from imuproc.core.sites import Side
from imuproc.motion.settings import MotionSettings

FloatArray = NDArray[np.float64]

_FEWEST_SAMPLES = 12
"""Fewer samples of the heel's rise tell no axis."""


def find_heel_rise_turn(
    segment: Conditioned, time_s: FloatArray, own: Contacts, side: Side, settings: MotionSettings
) -> float:
    """Turn about the vertical that brings the foot's axes nearer to its heel-to-toe line, in rad.

    Parameters
    ----------
    segment : Conditioned
        The foot, in the axes that calibration found.
    time_s : ndarray, shape (n,)
    own : Contacts
        Of this foot.
    side : {"left", "right"}
    settings : MotionSettings

    Returns
    -------
    float
        Counterclockwise seen from above. 0 where the heel's rises tell nothing.
    """
    share = np.full(len(time_s), -1.0)
    for touchdown_s, toe_off_s in zip(own.touchdown_s, own.toe_off_s, strict=True):
        first, last = np.searchsorted(time_s, [touchdown_s, toe_off_s])
        share[first:last] = (time_s[first:last] - touchdown_s) / max(toe_off_s - touchdown_s, 1e-3)
    rising = (share >= settings.heel_rises_from) & segment.measured & ~segment.gyro_clipped
    flat = segment.gyro_radps[rising, :2]
    if len(flat) < _FEWEST_SAMPLES:
        return 0.0
    values, vectors = np.linalg.eigh(flat.T @ flat)
    if values[0] > settings.no_axis_ratio**2 * values[1]:
        return 0.0
    axis = vectors[:, 1]
    axis = axis * np.sign(axis[1] or 1.0)
    ahead = float(np.arctan2(-axis[0], axis[1]))
    outward = 1.0 if side == "left" else -1.0
    line = ahead + outward * np.radians(settings.heel_rise_toe_out_deg)
    main, own_u = segment.calibration.axis_u_rad, np.radians(settings.heel_rise_toe_out_u_deg)
    return float(line * main**2 / (main**2 + own_u**2))
