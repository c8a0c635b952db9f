"""Pose of one rigid segment through time: what simulated and optical motion have in common."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PoseTrack:
    """Pose of one segment at regular stamps, world axes X forward, Y left, Z up.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Regular stamps in s, at least 7. Fine enough for the motion to be smooth between them
        (2000 Hz for running with a touchdown shock).
    rotation : ndarray, shape (n, 3, 3)
        Turns segment axes into world axes.
    position_m : ndarray, shape (n, 3)
        Segment origin in m, world axes. Shank: ankle centre. Foot: heel.

    Raises
    ------
    ValueError
        If shapes do not fit, there are fewer than 7 samples, or the stamps are not regular.
    """

    time_s: FloatArray
    rotation: FloatArray
    position_m: FloatArray

    def __post_init__(self) -> None:
        n = len(self.time_s)
        if self.rotation.shape != (n, 3, 3) or self.position_m.shape != (n, 3):
            raise ValueError(
                f"{n} stamps need rotation ({n}, 3, 3) and position ({n}, 3); there are "
                f"{self.rotation.shape} and {self.position_m.shape}"
            )
        if n < 7:
            raise ValueError(f"a track needs 7 samples or more; there are {n}")
        steps = np.diff(self.time_s)
        if not steps.min() > 0.0 or np.ptp(steps) > 1e-6 * steps.mean():
            raise ValueError("the stamps of a track must be regular and rising")

    @property
    def rate_hz(self) -> float:
        """Sampling rate in Hz."""
        return float((len(self.time_s) - 1) / (self.time_s[-1] - self.time_s[0]))

    def compute_point_m(self, offset_m: FloatArray) -> FloatArray:
        """World position of a point fixed to the segment.

        Parameters
        ----------
        offset_m : ndarray, shape (3,)
            From the segment origin, in m, segment axes.

        Returns
        -------
        ndarray, shape (n, 3)
            In m.
        """
        return np.asarray(self.position_m + self.rotation @ offset_m)
