"""The drawing of shin and foot at each touchdown: where the lines go, to scale."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from imuproc.core.body import ANKLE_HEIGHT_PER_STATURE, FOOT_PER_STATURE, SHANK_PER_STATURE
from imuproc.core.recording import Athlete
from imuproc.report.pages.view import RunView

_ANKLE_HEIGHT_PER_FOOT: Final = ANKLE_HEIGHT_PER_STATURE / FOOT_PER_STATURE
# Outline of the foot, seen from the side: x in lengths of the foot from the ankle on, y in heights
# of the ankle from the sole on. The heel is a quarter of the foot's length behind (from memory).
_OUTLINE: Final = (
    (-0.25, 0.0), (0.75, 0.0), (0.76, 0.3), (0.5, 0.55), (0.14, 1.15), (-0.12, 1.1), (-0.26, 0.45)
)  # fmt: skip

WIDTH: Final = 64.0
HEIGHT: Final = 64.0
_GROUND: Final = 59.0
_SHANK: Final = 38.0
_ANKLE_X: Final = 28.0

Point = tuple[float, float]


@dataclass(frozen=True)
class Leg:
    """Shin and foot of one step in a cell, x to the right (forward), y down, as SVG counts.

    Parameters
    ----------
    step : int
    side : str
    ankle : (float, float)
    foot : tuple of (float, float)
        Outline of the foot, from heel along the sole to the toe and back over the instep.
    knee : (float, float) or None
        None where the shin angle is not known.
    foot_known : bool
        Whether the foot's pitch is known; drawn flat and open otherwise.
    wedge : str
        Path of the target band of the shin, empty where there is none.
    band_deg : (float, float) or None
        Its ends.
    """

    step: int
    side: str
    ankle: Point
    foot: tuple[Point, ...]
    knee: Point | None
    foot_known: bool
    wedge: str = ""
    band_deg: tuple[float, float] | None = None


def foot_length(athlete: Athlete) -> float:
    """Length of the foot in units of the drawing, in proportion to the shank."""
    stature = athlete.stature_m or 1.0
    shank = athlete.shank_length_m or SHANK_PER_STATURE * stature
    foot = athlete.foot_length_m or FOOT_PER_STATURE * stature
    if not athlete.stature_m and bool(athlete.shank_length_m) != bool(athlete.foot_length_m):
        shank, foot = (
            SHANK_PER_STATURE,
            FOOT_PER_STATURE,
        )  # one length without the other tells no proportion
    return float(np.clip(foot / shank, 0.4, 1.0)) * _SHANK


def draw_legs(view: RunView) -> tuple[Leg, ...]:
    """Shin and foot of every step at touchdown."""
    foot = foot_length(view.athlete)
    judged = view.verdicts[view.verdicts["figure"] == "shin_angle_touchdown_deg"]
    bands = {
        int(step): (float(low), float(high))
        for step, low, high in zip(judged["step"], judged["low"], judged["high"], strict=True)
    }
    columns = ["step", "side", "shin_angle_touchdown_deg", "foot_pitch_touchdown_deg"]
    rows = view.steps[columns].itertuples(index=False)
    return tuple(
        _draw_leg((int(step), str(side)), (float(shin), float(pitch)), foot, bands.get(int(step)))
        for step, side, shin, pitch in rows
    )


def _draw_leg(
    step: tuple[int, str],
    angles_deg: tuple[float, float],
    foot: float,
    band: tuple[float, float] | None,
) -> Leg:
    shin, pitch = np.deg2rad(angles_deg)
    tilt = float(np.nan_to_num(pitch))
    drop = _ANKLE_HEIGHT_PER_FOOT * foot
    outline = [_turn_points(x * foot, (y - 1.0) * drop, tilt) for x, y in _OUTLINE]
    ankle = (_ANKLE_X, _GROUND + min(up for _, up in outline))  # the sole's lower end on the ground
    return Leg(
        step=step[0],
        side=step[1],
        ankle=_round_points(ankle),
        foot=tuple(_place_points(ankle, point) for point in outline),
        knee=_place_points(ankle, _turn_points(_SHANK, 0.0, shin)) if np.isfinite(shin) else None,
        foot_known=bool(np.isfinite(pitch)),
        wedge=_draw_wedge(ankle, band) if band else "",
        band_deg=band,
    )


def _turn_points(x: float, up: float, angle: float) -> Point:
    cos, sin = float(np.cos(angle)), float(np.sin(angle))
    return x * cos - up * sin, x * sin + up * cos


def _place_points(ankle: Point, offset: Point) -> Point:
    return _round_points((ankle[0] + offset[0], ankle[1] - offset[1]))


def _round_points(point: Point) -> Point:
    return round(point[0], 1), round(point[1], 1)


def _draw_wedge(ankle: Point, band: tuple[float, float]) -> str:
    low, high = np.deg2rad(np.clip(band, 0.0, 180.0))
    first, last = (_place_points(ankle, _turn_points(_SHANK, 0.0, angle)) for angle in (low, high))
    start = _round_points(ankle)
    return (
        f"M{start[0]} {start[1]}L{first[0]} {first[1]}"
        f"A{_SHANK:g} {_SHANK:g} 0 0 0 {last[0]} {last[1]}Z"
    )
