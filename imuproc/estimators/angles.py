"""Angle curves of a leg, their values at events and over swings, with uncertainty by part."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.motion import SegmentMotion
from imuproc.dsp.rotations import quat_from_rotvec, quat_multiply, quat_rotate
from imuproc.estimators.figures import Figure

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class AngleCurve:
    """An angle through a run, in rad, with what is uncertain about it.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    angle_rad, rate_radps : ndarray, shape (n,)
    parts_rad : mapping-like dict from str to ndarray, shape (n,)
        Standard uncertainty by part, but for the event's.
    """

    time_s: FloatArray
    angle_rad: FloatArray
    rate_radps: FloatArray
    parts_rad: dict[str, FloatArray]


def shin_curve(time_s: FloatArray, shank: SegmentMotion, settings: "AngleSettings") -> AngleCurve:
    """Shin angle: 90° plus the shank's rotation from quiet standing (lean forward negative)."""
    tissue = np.full(len(time_s), np.radians(settings.shank_soft_tissue_deg))
    return AngleCurve(
        time_s,
        shank.pitch_rad + np.pi / 2.0,
        shank.pitch_rate_radps,
        {
            **_solved_parts(shank),
            "alignment": _axis_share(shank, np.radians(settings.shank_axis_u_deg)),
            "soft_tissue": tissue,
        },
    )


def _solved_parts(segment: SegmentMotion) -> dict[str, FloatArray]:
    """What the motion's solution leaves uncertain: by clipping, by the rate, and the rest."""
    none = np.zeros(len(segment.pitch_u_rad))
    parts = {name: segment.pitch_parts_rad.get(name, none) for name in ("clipping", "rate")}
    rest = segment.pitch_u_rad**2 - parts["clipping"] ** 2 - parts["rate"] ** 2
    return {"drift": np.sqrt(np.maximum(rest, 0.0)), **parts}


def pitch_curve(time_s: FloatArray, foot: SegmentMotion, settings: "AngleSettings") -> AngleCurve:
    """Foot pitch: rotation from quiet standing, toe up positive."""
    return AngleCurve(
        time_s,
        foot.pitch_rad,
        foot.pitch_rate_radps,
        {
            **_solved_parts(foot),
            "alignment": _toe_out_share(foot, np.radians(settings.toe_out_u_deg)),
            "soft_tissue": np.full(len(time_s), np.radians(settings.foot_soft_tissue_deg)),
        },
    )


def dorsiflexion_curve(shin: AngleCurve, pitch: AngleCurve) -> AngleCurve:
    """Dorsiflexion = foot pitch + 90° - shin angle, both from quiet standing, where it is 0."""
    names = {*shin.parts_rad, *pitch.parts_rad}
    return AngleCurve(
        shin.time_s,
        pitch.angle_rad + np.pi / 2.0 - shin.angle_rad,
        pitch.rate_radps - shin.rate_radps,
        {name: np.hypot(shin.parts_rad[name], pitch.parts_rad[name]) for name in sorted(names)},
    )


@dataclass(frozen=True)
class AngleSettings:
    """What is assumed about the angles' uncertainty, one standard deviation each.

    Parameters
    ----------
    toe_out_u_deg : float
        Of the foot's heel-to-toe line: RMS error in runners left out of the fit (see
        :mod:`imuproc.motion.foot_axis`).
    shank_axis_u_deg : float
        Of the shank's heading against the way: what the solution of the shank allows for.
    shank_soft_tissue_deg, foot_soft_tissue_deg : float
        Motion of the sensor on the skin or shoe; from memory (low), no source.
    """

    toe_out_u_deg: float = 4.0
    shank_axis_u_deg: float = 3.0
    shank_soft_tissue_deg: float = 0.3
    foot_soft_tissue_deg: float = 0.3


def _along_the_way(segment: SegmentMotion) -> FloatArray:
    """Orientation in axes whose X axis turns with the way, shape (n, 4)."""
    if segment.bend_rad is None:
        return segment.quat_wxyz
    turn = np.zeros((len(segment.bend_rad), 3))
    turn[:, 2] = -segment.bend_rad
    return quat_multiply(quat_from_rotvec(turn), segment.quat_wxyz)


def _toe_out_share(foot: SegmentMotion, u_rad: float) -> FloatArray:
    """How far foot pitch would move if the foot's axis were turned by one uncertainty."""
    heading = _along_the_way(foot)
    turned = np.array([np.cos(u_rad), np.sin(u_rad), 0.0])
    moved = _sagittal_turn(quat_rotate(heading, _AHEAD), quat_rotate(heading, turned))
    return np.asarray(np.abs(moved - np.median(moved)))


def _axis_share(shank: SegmentMotion, u_rad: float) -> FloatArray:
    """How far the shin angle moves if the running direction is off by one uncertainty."""
    axis = quat_rotate(_along_the_way(shank), _UP)
    other = quat_rotate(quat_from_rotvec(u_rad * _UP), axis)
    return np.asarray(np.abs(_sagittal_turn(axis, other)))


_AHEAD = np.array([1.0, 0.0, 0.0])
_UP = np.array([0.0, 0.0, 1.0])


def _sagittal_turn(a: FloatArray, b: FloatArray) -> FloatArray:
    """Angle in the X-Z plane from direction a to direction b in rad, shape (n, 3) to (n,)."""
    return np.asarray(
        np.arctan2(a[:, 0] * b[:, 2] - a[:, 2] * b[:, 0], a[:, 0] * b[:, 0] + a[:, 2] * b[:, 2])
    )


def at_events(curve: AngleCurve, event_s: FloatArray, event_u_s: FloatArray) -> Figure:
    """Angle at event times in deg; the event's own uncertainty counts by the angle's rate.

    Parameters
    ----------
    curve : AngleCurve
    event_s, event_u_s : ndarray, shape (m,)

    Returns
    -------
    Figure
        In deg.
    """
    value = np.degrees(np.interp(event_s, curve.time_s, curve.angle_rad))
    parts = {
        name: np.degrees(np.interp(event_s, curve.time_s, part))
        for name, part in curve.parts_rad.items()
    }
    parts["event"] = np.degrees(_speed_near(curve, event_s, event_u_s) * event_u_s)
    return Figure(value, parts)


def _speed_near(curve: AngleCurve, event_s: FloatArray, event_u_s: FloatArray) -> FloatArray:
    """Typical |rate| within one uncertainty of each event, so that a turning point counts too."""
    shifts = np.array([-1.0, 0.0, 1.0])
    times = event_s[:, None] + event_u_s[:, None] * shifts
    rates = np.interp(times, curve.time_s, curve.rate_radps)
    return np.asarray(np.sqrt(np.mean(rates**2, axis=1)))


@dataclass(frozen=True, eq=False)
class Swings:
    """The swing that ends at each contact.

    Parameters
    ----------
    start_s : ndarray, shape (m,)
        The foot's previous toe-off, or its departure from the start; NaN where unknown.
    end_s : ndarray, shape (m,)
        Touchdown.
    start_u_s, end_u_s : ndarray, shape (m,)
        Standard uncertainties.
    """

    start_s: FloatArray
    end_s: FloatArray
    start_u_s: FloatArray
    end_u_s: FloatArray


def over_swing(curve: AngleCurve, swings: Swings, last_share: float, statistic: str) -> Figure:
    """Least, largest or mean angle over the last part of each swing, touchdown included, in deg.

    Parameters
    ----------
    curve : AngleCurve
    swings : Swings
    last_share : float
        Part of the swing that counts, up to touchdown.
    statistic : {"min", "max", "mean"}

    Returns
    -------
    Figure
        In deg; the uncertainty of both ends counts by how the statistic moves with them.
    """
    count = len(swings.end_s)
    value = np.full(count, np.nan)
    parts = {name: np.full(count, np.nan) for name in (*curve.parts_rad, "event")}
    for row in np.flatnonzero(np.isfinite(swings.start_s)):
        start, end = swings.start_s[row], swings.end_s[row]
        if not 0.05 < end - start < 1.5:
            continue
        found, at_s = _window_statistic(curve, start, end, last_share, statistic)
        shifts = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        shifts = shifts * (swings.start_u_s[row], swings.end_u_s[row])
        moved = [
            _window_statistic(curve, start + s, end + e, last_share, statistic)[0] - found
            for s, e in shifts
        ]
        value[row] = np.degrees(found)
        parts["event"][row] = np.degrees(np.sqrt(0.5 * np.sum(np.square(moved))))
        for name, part in curve.parts_rad.items():
            parts[name][row] = np.degrees(np.interp(at_s, curve.time_s, part))
    return Figure(value, parts)


def _window_statistic(
    curve: AngleCurve, start_s: float, end_s: float, last_share: float, statistic: str
) -> tuple[float, float]:
    """Statistic in rad over the window, and the time it stands for."""
    low_s = end_s - last_share * (end_s - start_s)
    low, high = np.searchsorted(curve.time_s, [low_s, end_s])
    times = np.concatenate(([low_s], curve.time_s[low:high], [end_s]))
    ends = np.interp([low_s, end_s], curve.time_s, curve.angle_rad)
    angles = np.concatenate((ends[:1], curve.angle_rad[low:high], ends[1:]))
    if statistic == "mean":
        mean = float(np.trapezoid(angles, times) / (times[-1] - times[0]))
        return mean, float(0.5 * (low_s + end_s))
    pick = int(np.argmin(angles) if statistic == "min" else np.argmax(angles))
    return float(angles[pick]), float(times[pick])
