"""Bending a straight run around a curve to the left."""

import numpy as np
from numpy.typing import NDArray

from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

_EASE_M = 0.5
"""Length over which the straight goes over into the curve."""


def bend_around_curve(track: PoseTrack, pivot_m: FloatArray, radius_m: float | None) -> PoseTrack:
    """The track of a segment when the run goes around a curve instead of along X.

    Parameters
    ----------
    track : PoseTrack
        On the straight.
    pivot_m : ndarray, shape (n, 3)
        Point that is moved onto the curve, on the straight; the segment turns with the path about
        it. Segments of one leg share it, so that they stay joined.
    radius_m : float or None
        In m, to the left from X = 0 on; None leaves the track as it is.

    Returns
    -------
    PoseTrack
    """
    if radius_m is None:
        return track
    way = pivot_m[:, 0]
    bent = 0.5 * (way + np.sqrt(way**2 + _EASE_M**2))
    heading = bent / radius_m
    cosine, sine = np.cos(heading), np.sin(heading)
    zero, one = np.zeros(len(way)), np.ones(len(way))
    turn = np.stack(
        (
            np.stack((cosine, -sine, zero), axis=-1),
            np.stack((sine, cosine, zero), axis=-1),
            np.stack((zero, zero, one), axis=-1),
        ),
        axis=-2,
    )
    inner = radius_m - pivot_m[:, 1]
    onto = np.stack((way - bent + inner * sine, radius_m - inner * cosine, pivot_m[:, 2]), axis=-1)
    arm = np.einsum("nij,nj->ni", turn, track.position_m - pivot_m)
    return PoseTrack(track.time_s, turn @ track.rotation, onto + arm)
