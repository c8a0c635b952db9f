"""Angle curves, with uncertainty by part."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.motion import SegmentMotion
from imuproc.dsp.rotations import quat_from_rotvec, quat_multiply, quat_rotate
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


def compute_body_curve(
    time_s: FloatArray, segment: SegmentMotion, settings: "AngleSettings"
) -> AngleCurve:
    """Rotation of a segment in the plane of the way from quiet standing, leaning back positive."""
    usual_deg = {
        "thigh": settings.thigh_soft_tissue_deg,
        "foot": settings.foot_soft_tissue_deg,
        "shank": settings.shank_soft_tissue_deg,
    }.get(segment.site.split("_")[-1], settings.belt_sway_deg)
    axis_u_rad = np.radians(settings.shank_axis_u_deg)
    return AngleCurve(
        time_s,
        segment.pitch_rad,
        segment.pitch_rate_radps,
        {
            **_list_solved_parts(segment),
            "alignment": _join_parts(
                _compute_axis_share(time_s, segment, axis_u_rad),
                _compute_heading_share(time_s, segment, _UP),
            ),
            "soft_tissue": _add_soft_tissue(time_s, segment, usual_deg),
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
    thigh_soft_tissue_deg: float = number(
        1.0, (0.0, 20.0), "Motion of a sensor on the thigh, whose muscles swing.", MEMORY
    )
    belt_sway_deg: float = number(
        1.0, (0.0, 20.0), "Motion of a sensor on pelvis or trunk, where a belt sways.", MEMORY
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
