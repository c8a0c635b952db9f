"""Shin and foot angles from named markers, in the sagittal plane of the run.

Definitions are those of the step table: shin angle from the forward horizontal to the line ankle to
knee; foot pitch of the line heel to toe, toe up positive. With a trial of quiet standing both are
relative to it (90 and 0 there); without, they are those of the lines between the markers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.core.sites import SIDES, Side
from imuproc.readers.references.c3d.trial import C3dFile
from imuproc.readers.references.layout import C3dLayout

FloatArray = NDArray[np.float64]

_MIN_TRAVEL_M: Final = 1.0
"""Markers that go less far do not tell the direction of running; chosen by judgement."""
_CLEAR_HEIGHT_M: Final = 0.03
"""Feet nearer in height than this are both on the ground, or neither; chosen by judgement."""
_FOOT: Final = ("heel", "toe", "ankle")


class _Line(NamedTuple):
    """Line between two markers, and its angle in quiet standing."""

    start: str
    end: str
    standing_deg: float


_LINES: Final = {
    "shin_angle": _Line("ankle", "knee", 90.0),
    "foot_pitch": _Line("heel", "toe", 0.0),
}


@dataclass(frozen=True, eq=False)
class Legs:
    """Markers of both legs on one clock.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    trajectories_m : mapping from (side, marker) to ndarray, shape (n, 3)
        Lab axes; NaN where a marker was not seen.
    forward, up : ndarray, shape (3,)
        Unit vectors.
    """

    time_s: FloatArray
    trajectories_m: Mapping[tuple[Side, str], FloatArray]
    forward: FloatArray
    up: FloatArray

    def measure_line_deg(self, side: Side, start: str, end: str) -> FloatArray | None:
        """Angle of a line between two markers from forward towards up, shape (n,), in deg."""
        if (side, start) not in self.trajectories_m or (side, end) not in self.trajectories_m:
            return None
        line = self.trajectories_m[side, end] - self.trajectories_m[side, start]
        return np.asarray(np.degrees(np.arctan2(line @ self.up, line @ self.forward)))

    def locate_marker(self, side: Side, marker: str, time_s: float) -> FloatArray | None:
        """Place of a marker at an instant, shape (3,); None where the layout does not name it."""
        trajectory = self.trajectories_m.get((side, marker))
        if trajectory is None:
            return None
        return np.array([np.interp(time_s, self.time_s, trajectory[:, axis]) for axis in range(3)])

    def find_lower_side(self, time_s: float) -> str:
        """Side of the foot that is clearly lower at an instant; empty where none is."""
        height = {}
        for side in SIDES:
            places = [self.locate_marker(side, marker, time_s) for marker in _FOOT]
            heights = [float(p @ self.up) for p in places if p is not None and np.isfinite(p).all()]
            height[side] = min(heights, default=np.nan)
        gap = height["right"] - height["left"]
        if not abs(gap) > _CLEAR_HEIGHT_M:
            return ""
        return "left" if gap > 0.0 else "right"


def read_legs(file: C3dFile, layout: C3dLayout) -> Legs | None:
    """Markers that the layout names; None where it names none.

    Parameters
    ----------
    file : C3dFile
    layout : C3dLayout

    Raises
    ------
    LogError
        A marker is missing, knees are not above ankles, or the direction of running is not clear.
    """
    if layout.markers is None:
        return None
    named: dict[tuple[Side, str], str] = {}
    for side in SIDES:
        for marker, name in getattr(layout.markers, side).model_dump().items():
            if name is not None:
                named[side, marker] = name
    trajectories = {
        place: file.read_marker_m(name, f"markers.{place[0]}.{place[1]}")
        for place, name in named.items()
    }
    up = _parse_axis(layout.up)
    for side in SIDES:
        _check_upright(trajectories, side, up, layout.up)
    forward = (
        _find_running_direction(trajectories, up)
        if layout.forward == "motion"
        else _parse_axis(layout.forward or "+x")
    )
    return Legs(file.compute_frame_times_s(), trajectories, forward, up)


def _parse_axis(name: str) -> FloatArray:
    vector = np.zeros(3)
    vector["xyz".index(name[1])] = 1.0 if name[0] == "+" else -1.0
    return vector


def _check_upright(
    trajectories: Mapping[tuple[Side, str], FloatArray], side: Side, up: FloatArray, name: str
) -> None:
    if (side, "knee") not in trajectories or (side, "ankle") not in trajectories:
        return
    rise = (trajectories[side, "knee"] - trajectories[side, "ankle"]) @ up
    rise = rise[np.isfinite(rise)]
    if not len(rise):
        raise LogError(f"the markers of the {side} knee and ankle are never seen together")
    if np.median(rise) <= 0.0:
        raise LogError(
            f"found the {side} knee below the ankle along up = '{name}'; allowed: the layout's up "
            "as the lab's axes are, and the markers by their right names"
        )


def _find_running_direction(
    trajectories: Mapping[tuple[Side, str], FloatArray], up: FloatArray
) -> FloatArray:
    """Direction in which all markers go together, horizontal."""
    moves = []
    for trajectory in trajectories.values():
        seen = trajectory[np.isfinite(trajectory).all(axis=1)]
        if len(seen) > 1:
            moves.append(seen[-1] - seen[0])
    mean = np.mean(moves, axis=0) if moves else np.zeros(3)
    flat = mean - (mean @ up) * up
    length = float(np.linalg.norm(flat))
    if length < _MIN_TRAVEL_M:
        raise LogError(
            f"found that the markers go {length:.2f} m only, so the direction of running is not "
            "clear; allowed: forward as an axis of the lab, such as '+x'"
        )
    return np.asarray(flat / length)


def _find_standing_direction(legs: Legs) -> FloatArray:
    """Where the feet point in quiet standing, horizontal; as in the run where they do not tell."""
    lines = []
    for side in SIDES:
        if (side, "toe") in legs.trajectories_m and (side, "heel") in legs.trajectories_m:
            line = legs.trajectories_m[side, "toe"] - legs.trajectories_m[side, "heel"]
            seen = line[np.isfinite(line).all(axis=1)]
            lines += [seen.mean(axis=0)] if len(seen) else []
    if not lines:
        return legs.forward
    mean = np.sum(lines, axis=0)
    flat = mean - (mean @ legs.up) * legs.up
    return np.asarray(flat / np.linalg.norm(flat))


def measure_standing_offsets(
    file: C3dFile, layout: C3dLayout, run: Legs
) -> dict[tuple[Side, str], float]:
    """What the angles of standing differ from 90 (shin) and 0 (foot), in deg.

    Parameters
    ----------
    file : C3dFile
        Quiet standing with the same markers.
    layout : C3dLayout
    run : Legs
        Of the run: its direction is taken where feet have no markers.

    Raises
    ------
    LogError
        A marker is missing, or never seen.
    """
    # Nobody goes anywhere in standing: the direction comes from the feet.
    stated = layout.model_copy(update={"forward": layout.forward and "+x"})
    legs = read_legs(file, stated)
    if legs is None:
        return {}
    legs = Legs(legs.time_s, legs.trajectories_m, run.forward, legs.up)
    legs = Legs(legs.time_s, legs.trajectories_m, _find_standing_direction(legs), legs.up)
    offsets: dict[tuple[Side, str], float] = {}
    for side in SIDES:
        for angle, (start, end, standing_deg) in _LINES.items():
            line = legs.measure_line_deg(side, start, end)
            if line is not None:
                known = line[np.isfinite(line)]
                if not len(known):
                    raise LogError(
                        f"the markers {start} and {end} of the {side} leg are never seen together"
                    )
                offsets[side, angle] = float(np.median(known)) - standing_deg
    return offsets


def measure_angles(
    legs: Legs,
    side: NDArray[np.str_],
    events_s: Mapping[str, FloatArray],
    offsets_deg: Mapping[tuple[Side, str], float] | None,
) -> dict[str, FloatArray]:
    """Angles at touchdown and toe-off by straight lines between frames, in deg.

    Parameters
    ----------
    legs : Legs
    side : ndarray of str, shape (m,)
    events_s : mapping from str to ndarray, shape (m,)
        Times in s under ``touchdown`` and ``toe_off``.
    offsets_deg : mapping or None
        From :func:`measure_standing_offsets`; None without a standing trial: then there
        is no dorsiflexion, as its zero is that of standing.

    Returns
    -------
    dict from str to ndarray, shape (m,)
        By the names of the step table's columns; NaN where a marker was not seen.
    """
    found: dict[str, FloatArray] = {}
    for angle, (start, end, _) in _LINES.items():
        for event, times in events_s.items():
            values = np.full(len(times), np.nan)
            for one in SIDES:
                line = legs.measure_line_deg(one, start, end)
                if line is not None:
                    rows = (side == one) & np.isfinite(times)
                    values[rows] = np.interp(
                        times[rows], legs.time_s, line, left=np.nan, right=np.nan
                    ) - (offsets_deg or {}).get((one, angle), 0.0)
            if np.isfinite(values).any():
                found[f"{angle}_{event}_deg"] = values
    both = ("shin_angle_touchdown_deg", "foot_pitch_touchdown_deg")
    if offsets_deg is not None and all(name in found for name in both):
        found["dorsiflexion_touchdown_deg"] = found[both[1]] + 90.0 - found[both[0]]
    return found
