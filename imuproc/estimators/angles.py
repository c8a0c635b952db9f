"""Angle curves of a leg, their values at events and over swings, with uncertainty by part."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.motion import SegmentMotion
from imuproc.dsp.rotations import quat_from_rotvec, quat_multiply, quat_rotate
from imuproc.estimators.quantities import Quantity
from imuproc.files.settings_model import MEMORY, StageSettings, number

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


def compute_shin_curve(
    time_s: FloatArray, shank: SegmentMotion, settings: "AngleSettings"
) -> AngleCurve:
    """Shin angle: 90° plus the shank's rotation from quiet standing (lean forward negative)."""
    tissue = _add_soft_tissue(time_s, shank, settings.shank_soft_tissue_deg)
    return AngleCurve(
        time_s,
        shank.pitch_rad + np.pi / 2.0,
        shank.pitch_rate_radps,
        {
            **_list_solved_parts(shank),
            "alignment": _join_parts(
                _compute_axis_share(time_s, shank, np.radians(settings.shank_axis_u_deg)),
                _compute_heading_share(time_s, shank, _UP),
            ),
            "soft_tissue": tissue,
            "standing": make_standing_part(time_s, settings),
        },
    )


def _add_soft_tissue(time_s: FloatArray, segment: SegmentMotion, usual_deg: float) -> FloatArray:
    """Motion of the sensor on its segment: the usual one, and a slip that standing shows."""
    return np.full(len(time_s), np.hypot(np.radians(usual_deg), segment.slip_u_rad))


def make_standing_part(time_s: FloatArray, settings: "AngleSettings") -> FloatArray:
    """What another day's quiet standing would move an angle by, in rad, shape (n,)."""
    return np.full(len(time_s), np.radians(settings.standing_u_deg))


def _list_solved_parts(segment: SegmentMotion) -> dict[str, FloatArray]:
    """What the motion's solution leaves uncertain: by clipping, by the rate, and the rest."""
    none = np.zeros(len(segment.pitch_u_rad))
    parts = {name: segment.pitch_parts_rad.get(name, none) for name in ("clipping", "rate")}
    rest = segment.pitch_u_rad**2 - parts["clipping"] ** 2 - parts["rate"] ** 2
    return {"drift": np.sqrt(np.maximum(rest, 0.0)), **parts}


def compute_pitch_curve(
    time_s: FloatArray, foot: SegmentMotion, settings: "AngleSettings"
) -> AngleCurve:
    """Foot pitch: rotation from quiet standing, toe up positive."""
    return AngleCurve(
        time_s,
        foot.pitch_rad,
        foot.pitch_rate_radps,
        {
            **_list_solved_parts(foot),
            "alignment": _join_parts(
                _compute_toe_out_share(time_s, foot, np.radians(settings.toe_out_u_deg)),
                _compute_heading_share(time_s, foot, _AHEAD),
            ),
            "soft_tissue": _add_soft_tissue(time_s, foot, settings.foot_soft_tissue_deg),
            "standing": make_standing_part(time_s, settings),
        },
    )


def compute_dorsiflexion_curve(shin: AngleCurve, pitch: AngleCurve) -> AngleCurve:
    """Dorsiflexion = foot pitch + 90° - shin angle, both from quiet standing, where it is 0."""
    names = {*shin.parts_rad, *pitch.parts_rad}
    return AngleCurve(
        shin.time_s,
        pitch.angle_rad + np.pi / 2.0 - shin.angle_rad,
        pitch.rate_radps - shin.rate_radps,
        {name: _join_parts(shin.parts_rad[name], pitch.parts_rad[name]) for name in sorted(names)},
    )


def _join_parts(a: FloatArray, b: FloatArray) -> FloatArray:
    """Root of the sum of squares; several times as fast as ``numpy.hypot``."""
    return np.sqrt(a * a + b * b)


class AngleSettings(StageSettings):
    """What is assumed about the angles' uncertainty, one standard deviation each."""

    toe_out_u_deg: float = number(
        5.5,
        (0.0, 45.0),
        "Of the foot's heel-to-toe line.",
        "RMS error is 3.7 deg in the 22 feet of the treadmill set (runners left out of the fit) "
        "and 6.9 deg in 6 feet of three overground clips that no fit has seen, of which one toes "
        "out by 24 deg",
    )
    shank_axis_u_deg: float = number(
        3.0,
        (0.0, 45.0),
        "Of the shank's heading against the way.",
        "what the solution of the shank allows for",
    )
    shank_soft_tissue_deg: float = number(
        0.3, (0.0, 20.0), "Motion of the sensor on the skin.", MEMORY
    )
    foot_soft_tissue_deg: float = number(
        0.3, (0.0, 20.0), "Motion of the sensor on the shoe.", MEMORY
    )
    standing_u_deg: float = number(
        1.0,
        (0.0, 20.0),
        "Of one segment's posture in quiet standing from day to day, which is the zero of its "
        "angles.",
        "joint angles of two days differ by 1.6 to 2.7 deg (RMS, running; 2022, Front Bioeng "
        "Biotechnol, 10.3389/fbioe.2022.1005496); of that each of two segments on each of two days "
        "has half",
    )


_SHARE_RATE_HZ = 200.0
"""How a share of the uncertainty changes is seen well enough at this rate."""


def _thin_samples(time_s: FloatArray) -> slice:
    """Samples at about the rate at which shares are worked out."""
    step_s = (time_s[-1] - time_s[0]) / max(len(time_s) - 1, 1)
    return slice(None, None, max(1, round(1.0 / (_SHARE_RATE_HZ * step_s))))


def _rotate_to_way(segment: SegmentMotion, some: slice) -> FloatArray:
    """Orientation in axes whose X axis turns with the way, of some samples, shape (k, 4)."""
    quat = segment.quat_wxyz[some]
    if segment.bend_rad is None:
        return quat
    turn = np.zeros((len(quat), 3))
    turn[:, 2] = -segment.bend_rad[some]
    return quat_multiply(quat_from_rotvec(turn), quat)


def _compute_toe_out_share(time_s: FloatArray, foot: SegmentMotion, u_rad: float) -> FloatArray:
    """How far foot pitch would move if the foot's axis were turned by one uncertainty."""
    some = _thin_samples(time_s)
    heading = _rotate_to_way(foot, some)
    turned = np.array([np.cos(u_rad), np.sin(u_rad), 0.0])
    moved = _compute_sagittal_turn(quat_rotate(heading, _AHEAD), quat_rotate(heading, turned))
    return np.interp(time_s, time_s[some], np.abs(moved - np.median(moved)))


def _compute_axis_share(time_s: FloatArray, shank: SegmentMotion, u_rad: float) -> FloatArray:
    """How far the shin angle moves if the running direction is off by one uncertainty."""
    some = _thin_samples(time_s)
    axis = quat_rotate(_rotate_to_way(shank, some), _UP)
    other = quat_rotate(quat_from_rotvec(u_rad * _UP), axis)
    return np.interp(time_s, time_s[some], np.abs(_compute_sagittal_turn(axis, other)))


def _compute_heading_share(
    time_s: FloatArray, segment: SegmentMotion, own: FloatArray
) -> FloatArray:
    """How far the angle of an axis moves if what is not known of the heading turns it, (n,)."""
    if segment.heading_u_rad is None:
        return np.zeros(len(time_s))
    some = _thin_samples(time_s)
    axis = quat_rotate(_rotate_to_way(segment, some), own)
    turn = segment.heading_u_rad[some, None] * _UP
    moved = [
        _compute_sagittal_turn(axis, quat_rotate(quat_from_rotvec(way * turn), axis))
        for way in (1.0, -1.0)
    ]
    return np.asarray(
        np.interp(time_s, time_s[some], np.sqrt(0.5 * np.sum(np.square(moved), axis=0)))
    )


_AHEAD = np.array([1.0, 0.0, 0.0])
_UP = np.array([0.0, 0.0, 1.0])


def _compute_sagittal_turn(a: FloatArray, b: FloatArray) -> FloatArray:
    """Angle in the X-Z plane from direction a to direction b in rad, shape (n, 3) to (n,)."""
    return np.asarray(
        np.arctan2(a[:, 0] * b[:, 2] - a[:, 2] * b[:, 0], a[:, 0] * b[:, 0] + a[:, 2] * b[:, 2])
    )


@dataclass(frozen=True, eq=False)
class Instants:
    """Events of one kind.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
        NaN where it is not known.
    u_s : ndarray, shape (m,)
        Standard uncertainty of each by itself.
    shared_u_s : ndarray, shape (m,)
        That which all of them share: see the part ``reference``.
    """

    time_s: FloatArray
    u_s: FloatArray
    shared_u_s: FloatArray


def read_at_events(curve: AngleCurve, events: Instants) -> Quantity:
    """Angle at event times in deg; the event's own uncertainty counts by the angle's rate.

    Parameters
    ----------
    curve : AngleCurve
    events : Instants

    Returns
    -------
    Quantity
        In deg.
    """
    at_s = events.time_s
    value = np.degrees(np.interp(at_s, curve.time_s, curve.angle_rad))
    parts = {
        name: np.degrees(np.interp(at_s, curve.time_s, part))
        for name, part in curve.parts_rad.items()
    }
    for name, u_s in (("event", events.u_s), ("reference", events.shared_u_s)):
        parts[name] = np.degrees(measure_speed_near(curve, at_s, u_s) * u_s)
    return Quantity(value, parts)


def measure_speed_near(curve: AngleCurve, event_s: FloatArray, event_u_s: FloatArray) -> FloatArray:
    """Typical |rate| within one uncertainty of each event, so that a turning point counts too.

    Parameters
    ----------
    curve : AngleCurve
    event_s, event_u_s : ndarray, shape (m,)

    Returns
    -------
    ndarray, shape (m,)
        In rad/s.
    """
    shifts = np.array([-1.0, 0.0, 1.0])
    times = event_s[:, None] + event_u_s[:, None] * shifts
    rates = np.interp(times, curve.time_s, curve.rate_radps)
    return np.asarray(np.sqrt(np.mean(rates**2, axis=1)))


@dataclass(frozen=True, eq=False)
class Swings:
    """The swing that ends at each contact.

    Parameters
    ----------
    start : Instants
        The foot's previous toe-off, or its departure from the start; NaN where there is no swing.
    end : Instants
        Touchdown.
    """

    start: Instants
    end: Instants


def summarise_swings(
    curve: AngleCurve, swings: Swings, last_share: float, statistic: str
) -> Quantity:
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
    Quantity
        In deg; the uncertainty of both ends counts by how the statistic moves with them.
    """
    count = len(swings.end.time_s)
    value = np.full(count, np.nan)
    parts = {name: np.full(count, np.nan) for name in (*curve.parts_rad, "event", "reference")}
    rows = np.flatnonzero(swings.end.time_s > swings.start.time_s)
    start, end = (
        _move_ends(swings.start, rows, first=True),
        _move_ends(swings.end, rows, first=False),
    )
    low = end - last_share * (end - start)
    if statistic == "mean":
        found, at_s = _average_windows(curve, low, end)
    else:
        found, at_s = _find_extremes(curve, low, end, 1.0 if statistic == "min" else -1.0)
    value[rows] = np.degrees(found[:, 0])
    moved = np.square(found[:, 1:] - found[:, :1])
    parts["event"][rows] = np.degrees(np.sqrt(0.5 * np.sum(moved[:, :4], axis=1)))
    parts["reference"][rows] = np.degrees(np.sqrt(0.5 * np.sum(moved[:, 4:], axis=1)))
    for name, part in curve.parts_rad.items():
        parts[name][rows] = np.degrees(np.interp(at_s, curve.time_s, part))
    return Quantity(value, parts)


def _move_ends(ends: Instants, rows: NDArray[np.intp], first: bool) -> FloatArray:
    """One end of each swing, (k, 9): as it is, then moved by its uncertainty.

    Both ways, by its own and then by the shared one; start and end take turns.
    """
    both, none = [1.0, -1.0], [0.0, 0.0]
    way = np.array([*both, *none] if first else [*none, *both])
    own, shared = (u_s[rows, None] * way for u_s in (ends.u_s, ends.shared_u_s))
    moves = np.hstack((np.zeros((len(rows), 1)), own, shared))
    return np.asarray(ends.time_s[rows, None] + moves)


def _average_windows(
    curve: AngleCurve, low_s: FloatArray, end_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean in rad over windows, shape (k, 9), and the middle of the first of each row."""
    steps = 0.5 * (curve.angle_rad[1:] + curve.angle_rad[:-1]) * np.diff(curve.time_s)
    gathered = np.concatenate(([0.0], np.cumsum(steps)))

    def integrate_until(time_s: FloatArray) -> FloatArray:
        before = np.clip(np.searchsorted(curve.time_s, time_s, "right") - 1, 0, len(steps))
        there = np.interp(time_s, curve.time_s, curve.angle_rad)
        since = time_s - curve.time_s[before]
        return np.asarray(gathered[before] + 0.5 * since * (curve.angle_rad[before] + there))

    mean = (integrate_until(end_s) - integrate_until(low_s)) / (end_s - low_s)
    return mean, 0.5 * (low_s + end_s)[:, 0]


def _find_extremes(
    curve: AngleCurve, low_s: FloatArray, end_s: FloatArray, sign: float
) -> tuple[FloatArray, FloatArray]:
    """Least (sign 1) or largest (-1) angle in rad in windows, shape (k, 9), and when it is.

    The time is that of the first window of each row.
    """
    angle = sign * curve.angle_rad
    first, last = np.searchsorted(curve.time_s, low_s), np.searchsorted(curve.time_s, end_s)
    inside = np.array(
        [
            a + int(np.argmin(angle[a:b])) if b > a else -1  # no sample in so short a window
            for a, b in zip(first.flat, last.flat, strict=True)
        ],
        dtype=np.int64,
    ).reshape(first.shape)
    times = np.stack((low_s, np.where(inside < 0, low_s, curve.time_s[inside]), end_s))
    angles = np.interp(times, curve.time_s, angle)
    pick = np.argmin(angles, axis=0)[None]
    found = np.take_along_axis(angles, pick, axis=0)[0]
    return sign * found, np.take_along_axis(times, pick, axis=0)[0][:, 0]
