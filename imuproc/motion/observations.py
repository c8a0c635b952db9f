"""What the body tells about drift: rests and stances, as rows of a least-squares problem.

Every rest or stance is an *anchor* with an unknown velocity of its own. Between two anchors the
integrated velocity ties them together up to what clipping, gaps and scale errors explain; at an
anchor the velocity is observed: zero at rest, zero at the ball of the foot in stance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Conditioned, Interval
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.filters import choose_odd_width, moving_mean
from imuproc.dsp.mask_runs import find_mask_runs
from imuproc.dsp.rotations import norm
from imuproc.motion.settings import MotionSettings

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


SAMPLES_PER_STANCE = 6
"""Velocity is looked at so often in each stance: its mean and what goes up and down about it."""
_MOST_PIECES = 12
"""Of one rest; more would only take longer."""


def _list_rest_instants(rests: tuple[Interval, ...], piece_s: float) -> FloatArray:
    """Ends and inner points of each rest: evenly, of a long one less often."""
    instants = []
    for rest in rests:
        pieces = int(np.clip(np.ceil(rest.duration_s / piece_s), 1, _MOST_PIECES))
        instants.append(np.linspace(rest.start_s, rest.end_s, pieces + 1))
    return np.concatenate(instants) if instants else np.empty(0)


def make_anchors(
    stance_start_s: FloatArray,
    stance_end_s: FloatArray,
    rests: tuple[Interval, ...],
    rest_piece_s: float,
) -> Anchors:
    """Anchors from the quiet part of each stance and from the rests.

    Parameters
    ----------
    stance_start_s, stance_end_s : ndarray, shape (m,)
        Quiet part of each stance in s.
    rests : tuple of Interval
        Still stretches.
    rest_piece_s : float
        In rests velocity is looked at about so often.

    Returns
    -------
    Anchors
    """
    rest_s = _list_rest_instants(rests, rest_piece_s)
    share = np.linspace(0.0, 1.0, SAMPLES_PER_STANCE)
    instants = stance_start_s[:, None] + (stance_end_s - stance_start_s)[:, None] * share
    centre = np.concatenate((0.5 * (stance_start_s + stance_end_s), rest_s))
    stance = np.arange(len(centre)) < len(stance_start_s)
    order = np.argsort(centre, kind="stable")
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    owner = np.concatenate(
        (
            np.repeat(rank[: len(stance_start_s)], SAMPLES_PER_STANCE),
            rank[len(stance_start_s) :],
        )
    )
    return Anchors(
        time_s=centre[order],
        is_stance=stance[order],
        sample_time_s=np.concatenate((instants.ravel(), rest_s)),
        sample_anchor=owner,
    )


@dataclass(frozen=True, eq=False)
class Blindness:
    """What the signals may have missed, gathered from the first sample on.

    Parameters
    ----------
    velocity_variance : ndarray, shape (n,)
        Running variance of velocity in m²/s² beyond the named sensor errors.
    rotation_sd_rad : ndarray, shape (n,)
        Running sum of what clipped or missing gyroscope samples may hide, in rad.
    clipped_velocity_variance, undersampled_velocity_variance : ndarray, shape (n,)
        Of the running variance of velocity, what clipped samples of either sensor and what impacts
        too short for the sampling rate make of it.
    clipped_rotation_sd_rad : ndarray, shape (n,)
        Of the running sum, what clipped samples make of it.
    """

    velocity_variance: FloatArray
    rotation_sd_rad: FloatArray
    clipped_velocity_variance: FloatArray
    undersampled_velocity_variance: FloatArray
    clipped_rotation_sd_rad: FloatArray


def measure_blindness(segment: Conditioned, rate_hz: float, settings: MotionSettings) -> Blindness:
    """How much velocity and rotation may have changed unseen.

    Velocity: a steady share; the curvature of the specific force from sample to sample, which
    shows how far an impact is too short for the sampling rate (the error of interpolating between
    samples is of its size); and clipped or missing samples.

    Parameters
    ----------
    segment : Conditioned
    rate_hz : float
    settings : MotionSettings

    Returns
    -------
    Blindness
    """
    force = segment.accel_mps2
    bend = np.zeros(len(force))
    bend[1:-1] = norm(force[2:] - 2.0 * force[1:-1] + force[:-2])
    unseen = segment.accel_clipped | ~segment.measured
    rotation = segment.compute_hidden_rate_radps() / rate_hz
    rotation = np.where(segment.measured, rotation, settings.missing_gyro_sd_radps / rate_hz)
    clipped_rotation = np.where(segment.measured, rotation, 0.0)
    # A zero that has moved at an unknown time is off by half of that all along, one way or other.
    rotation = rotation + 0.5 * segment.calibration.zero_moved_radps / rate_hz
    # A rotation that was not seen tilts gravity for the rest of the stride.
    stride_s = settings.usual_stride_s
    width = choose_odd_width(2.0 * stride_s, rate_hz)
    gravity = STANDARD_GRAVITY_MPS2**2 * stride_s / rate_hz
    tilted = gravity * _sum_hidden(rotation, width) ** 2
    jumped = (settings.unseen_accel_sd_mps2 / rate_hz) ** 2 * _measure_run_lengths(unseen) * unseen
    undersampled = (settings.undersampling_share * bend / rate_hz) ** 2
    steady = settings.stride_velocity_sd_mps**2 / stride_s / rate_hz
    slipped = _compute_slip_variance(segment, rate_hz)
    clipped = gravity * _sum_hidden(clipped_rotation, width) ** 2 + jumped * segment.measured
    return Blindness(
        velocity_variance=np.cumsum(steady + tilted + undersampled + jumped + slipped),
        rotation_sd_rad=np.cumsum(rotation),
        clipped_velocity_variance=np.cumsum(clipped),
        undersampled_velocity_variance=np.cumsum(undersampled),
        clipped_rotation_sd_rad=np.cumsum(clipped_rotation),
    )


def _compute_slip_variance(segment: Conditioned, rate_hz: float) -> FloatArray:
    """What each sample adds while a sensor turned on its limb: gravity pulled the wrong way."""
    slip, turning = segment.calibration.slip, segment.turning
    if slip is None or turning is None:
        return np.zeros(len(segment.measured))
    pulled = STANDARD_GRAVITY_MPS2 * slip.angle_rad
    return np.where(turning, pulled**2 * (slip.end_s - slip.start_s) / rate_hz, 0.0)


def _sum_hidden(rotation: FloatArray, width: int) -> FloatArray:
    """Hidden rotation within a window around each sample, shape (n,)."""
    return moving_mean(rotation, width) * width if rotation.any() else rotation


def _measure_run_lengths(mask: NDArray[np.bool_]) -> FloatArray:
    """Length of the run of True that each sample is in, 1 elsewhere: errors of a run add up."""
    first, after = find_mask_runs(mask)
    counts = np.ones(len(mask))
    counts[mask] = np.repeat(after - first, after - first)
    return counts
