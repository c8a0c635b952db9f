"""Segment axes of one sensor: standing gives the vertical, running the mediolateral axis."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Interval
from imuproc.core.sites import Site, is_lower_leg
from imuproc.dsp.filters import average_blocks, choose_block
from imuproc.dsp.integration import integrate_gyro
from imuproc.dsp.rotations import quat_between, quat_conjugate, quat_multiply, quat_rotate
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

UP = np.array([0.0, 0.0, 1.0])

_ENOUGH_HZ = 200.0
"""What is plain at a coarse rate too is read off means at about this rate."""
_START = np.array([1.0, 0.0, 0.0, 0.0])


class AxesSettings(StageSettings):
    """How well bias and axes of one sensor are known."""

    bias_sway_deg: float = number(
        0.3,
        (0.0, 10.0),
        "Posture sways by so much at rest: over T seconds the mean rate is known to about that "
        "divided by T.",
    )
    bias_u_least_degps: float = number(
        0.005, (0.0, 1.0), "The bias of a gyroscope is never known better than this."
    )
    bias_u_unknown_degps: float = number(
        1.0, (0.0, 20.0), "Standard uncertainty of the bias where there is no rest."
    )
    brief_rest_share: float = number(
        0.5,
        (0.0, 1.0),
        "A rest of pelvis, trunk or thigh whose mean rate is not that of the longest, and that is "
        "shorter than this share of it, is none.",
        "hips sink into a set position within a second or two (judgement)",
    )
    zero_moves_degps: float = number(
        0.8, (0.0, 20.0), "A zero that differs by less after the run than before has not moved."
    )
    zero_sure_ratio: float = number(
        4.0,
        (1.0, 20.0),
        "And one that differs by less than so many standard uncertainties of both has not.",
    )
    axis_u_share: float = number(
        0.2,
        (0.0, 1.0),
        "Standard uncertainty of the axis of rotation in rad, as a share of the size of rotation "
        "about the next axis over that about the main one.",
    )


@dataclass(frozen=True, eq=False)
class CoarseRecord:
    """Block means of a record, at about 200 Hz.

    Parameters
    ----------
    middle : slice
        The sample of the record in the middle of each block.
    rate_hz : float
    accel_mps2, gyro_radps : ndarray, shape (m, 3)
    """

    middle: slice
    rate_hz: float
    accel_mps2: FloatArray
    gyro_radps: FloatArray

    @cached_property
    def quat_wxyz(self) -> FloatArray:
        """Turns sensor axes into those of the first block, shape (m, 4)."""
        return integrate_gyro(self.gyro_radps, self.rate_hz, _START)


@dataclass(frozen=True, eq=False)
class SensorRecord:
    """One sensor's signals around a run, in sensor axes without gaps.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    rate_hz : float
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        Gyroscope bias removed.
    running : ndarray of bool, shape (n,)
        Inside the run.
    still : ndarray of bool, shape (n,), or None
        Quiet standing that sets the zero; None where there is none.
    """

    time_s: FloatArray
    rate_hz: float
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    running: BoolArray
    still: BoolArray | None

    @cached_property
    def coarse(self) -> CoarseRecord:
        """What is plain at a coarse rate too is read off this."""
        block = choose_block(self.rate_hz, _ENOUGH_HZ)
        accel, gyro = (average_blocks(x, block) for x in (self.accel_mps2, self.gyro_radps))
        middle = slice(block // 2, len(accel) * block, block)
        return CoarseRecord(middle, self.rate_hz / block, accel, gyro)


@dataclass(frozen=True, eq=False)
class Axes:
    """Segment axes in sensor coordinates.

    Parameters
    ----------
    up, forward : ndarray, shape (3,)
        Unit vectors; at right angles.
    axis_u_rad : float
        Standard uncertainty of the forward axis about the vertical in rad.
    sign_sure : bool
        Whether forward is surely not backward.
    """

    up: FloatArray
    forward: FloatArray
    axis_u_rad: float
    sign_sure: bool


def estimate_gyro_bias(
    time_s: FloatArray,
    gyro_radps: FloatArray,
    rests: tuple[Interval, ...],
    settings: AxesSettings,
) -> tuple[FloatArray, float]:
    """Mean rate at rest and its standard uncertainty, both in rad/s.

    Posture sways, so over T seconds the mean rate is known to about that divided by T; longer
    rests weigh more.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    gyro_radps : ndarray, shape (n, 3)
    rests : tuple of Interval
    settings : AxesSettings

    Returns
    -------
    bias : ndarray, shape (3,)
    uncertainty : float
    """
    if not rests:
        return np.zeros(3), float(np.radians(settings.bias_u_unknown_degps))
    means, weight = _average_at_rest(time_s, gyro_radps, rests)
    sway_rad = np.radians(settings.bias_sway_deg)
    spread = sway_rad / np.sqrt(sum(rest.duration_s**2 for rest in rests))
    return weight @ means, float(np.hypot(spread, np.radians(settings.bias_u_least_degps)))


def _average_at_rest(
    time_s: FloatArray, gyro_radps: FloatArray, rests: tuple[Interval, ...]
) -> tuple[FloatArray, FloatArray]:
    """Mean rate of each rest in rad/s, shape (k, 3), and how much it counts, shape (k,)."""
    masks = [(time_s >= rest.start_s) & (time_s <= rest.end_s) for rest in rests]
    means = np.array([gyro_radps[mask].mean(axis=0) for mask in masks])
    duration = np.array([rest.duration_s for rest in rests])
    return means, duration**2 / (duration**2).sum()


def measure_zero_shift(
    time_s: FloatArray,
    gyro_radps: FloatArray,
    rests: tuple[Interval, ...],
    running: BoolArray,
    settings: AxesSettings,
) -> float:
    """How far the mean rate at rest is another after the run than before it, in rad/s.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    gyro_radps : ndarray, shape (n, 3)
    rests : tuple of Interval
    running : ndarray of bool, shape (n,)
    settings : AxesSettings

    Returns
    -------
    float
        0 where sway may explain it, or a rate that changed within the rests, or there is no rest
        on one side of the run.
    """
    middle_s = float(time_s[running].mean()) if running.any() else float(time_s.mean())
    before = tuple(rest for rest in rests if rest.end_s < middle_s)
    after = tuple(rest for rest in rests if rest.start_s > middle_s)
    if not (before and after):
        return 0.0
    (first, first_u), (last, last_u) = (
        estimate_gyro_bias(time_s, gyro_radps, own, settings) for own in (before, after)
    )
    moved = float(np.linalg.norm(last - first))
    unsure = settings.zero_sure_ratio * float(np.hypot(first_u, last_u))
    allowed = max(unsure, float(np.radians(settings.zero_moves_degps)))
    allowed += sum(_estimate_residual_rate(time_s, gyro_radps, own) for own in (before, after))
    return moved if moved > allowed else 0.0


def drop_brief_rests(
    site: Site,
    time_s: FloatArray,
    gyro_radps: FloatArray,
    rests: tuple[Interval, ...],
    running: BoolArray,
    settings: AxesSettings,
) -> tuple[Interval, ...]:
    """Rests without brief ones that do not fit the others, of pelvis, trunk or thigh.

    Hips and trunk sink evenly into a set position, which for a moment looks like rest.
    """
    moved = measure_zero_shift(time_s, gyro_radps, rests, running, settings)
    if is_lower_leg(site) or moved == 0.0:
        return rests
    shortest_s = settings.brief_rest_share * max(rest.duration_s for rest in rests)
    return tuple(rest for rest in rests if rest.duration_s >= shortest_s)


def _estimate_residual_rate(
    time_s: FloatArray, gyro_radps: FloatArray, rests: tuple[Interval, ...]
) -> float:
    """How far the mean rate at rest may be off the zero because the limb still turned, in rad/s.

    A zero keeps its value, a limb that comes to rest does not: where a rate goes evenly to nothing
    its mean is off by what the means of both halves differ by.
    """
    middles_s = [0.5 * (rest.start_s + rest.end_s) for rest in rests]
    first = tuple(Interval(r.start_s, at) for r, at in zip(rests, middles_s, strict=True))
    second = tuple(Interval(at, r.end_s) for r, at in zip(rests, middles_s, strict=True))
    early, weight = _average_at_rest(time_s, gyro_radps, first)
    late, _ = _average_at_rest(time_s, gyro_radps, second)
    return float(weight @ np.linalg.norm(late - early, axis=1))


def find_segment_axes(
    record: SensorRecord, sign_margin: float, settings: AxesSettings, rises: bool = False
) -> Axes:
    """Vertical from standing, forward from the main axis of fast rotation in the run.

    Without standing the mean specific force of the run stands in for the vertical: good enough to
    tell forward from sideways, not for angles.

    Parameters
    ----------
    record : SensorRecord
    sign_margin : float
        Least mean elevation (sine) of the forward axis over the run that settles its sign.
    settings : AxesSettings
    rises : bool
        Whether the true forward axis points above the horizontal on average, as a thigh's does.

    Returns
    -------
    Axes
    """
    part = record.running if record.still is None else record.still
    mean = record.accel_mps2[part].mean(axis=0)
    up = mean / np.linalg.norm(mean)
    gyro = record.gyro_radps[record.running]
    axis, axis_u = _find_rotation_axis(gyro, up, settings.axis_u_share)
    forward = np.cross(axis, up)
    sign, sure = _choose_forward_sign(record, up, forward, sign_margin, rises)
    return Axes(up, sign * forward, axis_u, sure)


def _find_rotation_axis(
    gyro: FloatArray, up: FloatArray, u_share: float
) -> tuple[FloatArray, float]:
    """Main horizontal axis of rotation and its standard uncertainty in rad.

    Samples count by the square of their rate, so that swing and push-off decide.
    """
    flat = gyro - np.outer(gyro @ up, up)
    values, vectors = np.linalg.eigh(flat.T @ flat)
    share = max(0.0, float(values[1] / max(values[2], 1e-12)))
    return vectors[:, 2], float(np.sqrt(share) * u_share)


def _choose_forward_sign(
    record: SensorRecord, up: FloatArray, forward: FloatArray, margin: float, rises: bool
) -> tuple[float, bool]:
    """+1 or -1 for the forward axis, and whether that is sure.

    With standing known: mean elevation of the axis over the run, which is well below the
    horizontal for the true forward axis (the leg is folded back in swing and leans forward in
    push-off); of a thigh, whose knee is mostly ahead of the hip, well above. Else: the skewness of
    the rate, since a leg swings forward faster than back.
    """
    if record.still is None:
        axis = np.cross(up, forward)
        cube = float(np.mean((-(record.gyro_radps[record.running] @ axis)) ** 3))
        return (1.0 if cube > 0.0 else -1.0), False
    chain, middle = record.coarse.quat_wxyz, record.coarse.middle
    still = np.flatnonzero(record.still[middle])
    level = quat_multiply(quat_between(up, UP), quat_conjugate(chain[still[len(still) // 2]]))
    height = quat_rotate(quat_multiply(level, chain[record.running[middle]]), forward)[:, 2]
    mean = float(-height.mean() if rises else height.mean())
    return (1.0 if mean < 0.0 else -1.0), abs(mean) > margin
