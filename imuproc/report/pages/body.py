"""The drawing of the body line at touchdown and toe-off: shin, thigh and trunk, to scale."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from imuproc.core.body import (
    ANKLE_HEIGHT_PER_STATURE,
    FOOT_PER_STATURE,
    SHANK_PER_STATURE,
    THIGH_PER_STATURE,
)
from imuproc.report.pages.view import RunView

WIDTH: Final = 120.0
HEIGHT: Final = 100.0
_GROUND: Final = 96.0
_STATURE: Final = 112.0
_TRUNK_PER_STATURE: Final = 0.29
"""Hip to shoulder; Drillis & Contini 1966 (value from memory, high)."""
_HIPS_X: Final = (34.0, 92.0)
"""Where the hips are in a cell: at touchdown, at toe-off."""

Point = tuple[float, float]


@dataclass(frozen=True)
class BodyLine:
    """One step's figures, x to the right (forward), y down, as SVG counts.

    Parameters
    ----------
    step : int
    side : str
    lines : tuple of str
        Paths of touchdown and toe-off; those of which an angle is not known are left out.
    said : str
        What they show, in words.
    """

    step: int
    side: str
    lines: tuple[str, ...]
    said: str


def draw_body_lines(view: RunView) -> tuple[BodyLine, ...]:
    """Shin, thigh and (where there is a sensor) trunk of every step; empty without thighs."""
    steps = view.steps
    if not np.isfinite(steps["thigh_angle_touchdown_deg"].to_numpy(dtype=float)).any():
        return ()
    out = []
    for row in steps.to_dict("records"):
        lines, said = [], []
        for event, hips_x in zip(("touchdown", "toe_off"), _HIPS_X, strict=True):
            angles = tuple(
                float(row[f"{name}_{event}_deg"])
                for name in ("foot_pitch", "shin_angle", "thigh_angle", "trunk_lean")
            )
            if np.isfinite(angles[1:3]).all():
                lines.append(_draw_figure(angles, hips_x))
                said.append(f"thigh {angles[2]:.0f}° at {event.replace('_', '-')}")
        out.append(BodyLine(int(row["step"]), str(row["side"]), tuple(lines), ", ".join(said)))
    return tuple(out)


def _draw_figure(angles_deg: tuple[float, ...], hips_x: float) -> str:
    """Foot, shin, thigh and trunk as one path, standing on the ground."""
    pitch, shin, thigh, lean = np.radians(angles_deg)
    tilt = float(np.nan_to_num(pitch))
    foot, drop = FOOT_PER_STATURE * _STATURE, ANKLE_HEIGHT_PER_STATURE * _STATURE
    heel, toe = (
        (x * np.cos(tilt) + drop * np.sin(tilt), x * np.sin(tilt) - drop * np.cos(tilt))
        for x in (-0.25 * foot, 0.75 * foot)
    )
    ankle_up = -min(heel[1], toe[1])
    knee = (
        SHANK_PER_STATURE * _STATURE * np.cos(shin),
        SHANK_PER_STATURE * _STATURE * np.sin(shin),
    )
    size = THIGH_PER_STATURE * _STATURE
    hip = (knee[0] - size * np.sin(thigh), knee[1] + size * np.cos(thigh))
    points = [hip]
    if np.isfinite(lean):
        trunk = _TRUNK_PER_STATURE * _STATURE
        points.append((hip[0] + trunk * np.sin(lean), hip[1] + trunk * np.cos(lean)))

    def place_point(point: Point) -> str:
        x = hips_x + point[0] - hip[0]
        return f"{x:.1f} {_GROUND - ankle_up - point[1]:.1f}"

    upward = "L".join(map(place_point, ((0.0, 0.0), knee, *points)))
    return f"M{place_point(heel)}L{place_point(toe)}M{upward}"
