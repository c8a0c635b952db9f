"""What the body tells about drift: rests and stances, as rows of a least-squares problem.

Every rest or stance is an *anchor* with an unknown velocity of its own. Between two anchors the
integrated velocity ties them together up to what clipping, gaps and scale errors explain; at an
anchor the velocity is observed: zero at rest, zero at the ball of the foot in stance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Conditioned, Interval

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Anchors:
    """Instants at which velocity is observed.

    Parameters
    ----------
    time_s : ndarray, shape (a,)
        Middle of each anchor in s, ascending.
    is_stance : ndarray of bool, shape (a,)
        True for a stance, False for a rest.
    sample_time_s : ndarray, shape (k,)
        All observation instants in s.
    sample_anchor : ndarray of int, shape (k,)
        Anchor that each instant belongs to.
    """

    time_s: FloatArray
    is_stance: NDArray[np.bool_]
    sample_time_s: FloatArray
    sample_anchor: IntArray


_SAMPLES_PER_STANCE = 6
_REST_PIECE_S = 0.5


def _rest_instants(rests: tuple[Interval, ...]) -> FloatArray:
    """Ends and inner points of each rest, about every half second."""
    pieces = [
        np.linspace(
            rest.start_s, rest.end_s, max(2, int(np.ceil(rest.duration_s / _REST_PIECE_S)) + 1)
        )
        for rest in rests
    ]
    return np.concatenate(pieces) if pieces else np.empty(0)


def make_anchors(
    stance_start_s: FloatArray, stance_end_s: FloatArray, rests: tuple[Interval, ...]
) -> Anchors:
    """Anchors from the quiet part of each stance and from the rests.

    Parameters
    ----------
    stance_start_s, stance_end_s : ndarray, shape (m,)
        Quiet part of each stance in s.
    rests : tuple of Interval
        Still stretches.

    Returns
    -------
    Anchors
    """
    rest_s = _rest_instants(rests)
    share = np.linspace(0.0, 1.0, _SAMPLES_PER_STANCE)
    instants = stance_start_s[:, None] + (stance_end_s - stance_start_s)[:, None] * share
    centre = np.concatenate((0.5 * (stance_start_s + stance_end_s), rest_s))
    stance = np.arange(len(centre)) < len(stance_start_s)
    order = np.argsort(centre, kind="stable")
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    owner = np.concatenate(
        (
            np.repeat(rank[: len(stance_start_s)], _SAMPLES_PER_STANCE),
            rank[len(stance_start_s) :],
        )
    )
    return Anchors(
        time_s=centre[order],
        is_stance=stance[order],
        sample_time_s=np.concatenate((instants.ravel(), rest_s)),
        sample_anchor=owner,
    )


def unknown_between(
    anchors: Anchors, time_s: FloatArray, segment: Conditioned
) -> tuple[FloatArray, FloatArray]:
    """Seconds between neighbouring anchors in which accelerometer or gyroscope were blind.

    Parameters
    ----------
    anchors : Anchors
    time_s : ndarray, shape (n,)
    segment : Conditioned

    Returns
    -------
    accel_blind_s, gyro_blind_s : ndarray, shape (a - 1,)
    """
    rate_hz = (len(time_s) - 1) / (time_s[-1] - time_s[0])
    at = np.searchsorted(time_s, anchors.time_s).clip(0, len(time_s))
    blind = []
    for clipped in (segment.accel_clipped, segment.gyro_clipped):
        total = np.concatenate(([0.0], np.cumsum(clipped | ~segment.measured))) / rate_hz
        blind.append(np.diff(total[at]))
    return blind[0], blind[1]
