"""Which way the athlete runs at each instant: straight on, or around a curve.

Angles count in the vertical plane of the way. Around a curve that plane turns with the runner. From
stance to stance a foot moves along the chord of the curve, whose direction is that of the curve
half-way; nothing but the sensor's own path is needed. A foot swings around the other leg in
between, so its velocity tells less.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.filters import average_blocks, choose_block, smooth_binomially
from imuproc.dsp.integration import cumulative_integral
from imuproc.motion.strapdown import interpolate_at

FloatArray = NDArray[np.float64]

_FEWEST_CHORDS = 3
"""With fewer the way is taken for straight."""
_ENOUGH_HZ = 200.0
"""Faster velocities are averaged down to about this rate."""


def find_bend_of_way(
    time_s: FloatArray, velocity_mps: FloatArray, stance_s: FloatArray, straight_deg: float
) -> FloatArray:
    """Direction of the way against world X at every sample, in rad.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    velocity_mps : ndarray, shape (n, 3)
        Of one segment of a leg, in a world whose X axis is the mean way.
    stance_s : ndarray, shape (m,)
        Middle of each stance of the leg in s, ascending.
    straight_deg : float
        A way that bends by less is straight.

    Returns
    -------
    ndarray, shape (n,)
        Counterclockwise seen from above; 0 throughout on a straight way.
    """
    straight = np.zeros(len(time_s))
    if len(stance_s) <= _FEWEST_CHORDS:
        return straight
    rate_hz = (len(time_s) - 1) / (time_s[-1] - time_s[0])
    block = choose_block(rate_hz, _ENOUGH_HZ)
    way = cumulative_integral(average_blocks(velocity_mps[:, :2], block), rate_hz / block)
    place = interpolate_at(way, average_blocks(time_s, block), stance_s)
    chord = np.diff(place, axis=0)
    heading = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
    smooth = smooth_binomially(heading)
    if np.abs(smooth).max() < np.radians(straight_deg):
        return straight
    # From the first and last chord on to the stance at their ends: half a stride more.
    ends = 1.5 * smooth[[0, -1]] - 0.5 * smooth[[1, -2]]
    at_s = np.concatenate((stance_s[:1], 0.5 * (stance_s[1:] + stance_s[:-1]), stance_s[-1:]))
    return np.asarray(np.interp(time_s, at_s, np.concatenate((ends[:1], smooth, ends[1:]))))
