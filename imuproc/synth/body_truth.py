"""True figures of hips, trunk, thighs and knees from curves that are known exactly."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.sites import SIDES, Side, Site, shank_of, thigh_of
from imuproc.synth.legs.body_line import locate_hip
from imuproc.synth.plan import Body
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BodyCurves:
    """What is known of the body line over time; angles in deg and heights in m from standing.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    thigh_deg, knee_deg, ahead_m, height_m : mapping from Side to ndarray, shape (n,)
        Thigh with the knee ahead positive; bend of the knee; ankle ahead of the hip; height of the
        hip.
    tilt_deg, left_up_deg, turn_deg, lean_deg : ndarray, shape (n,), or None
        Pelvis forward, its left side up, its turn to the left; trunk forward.
    """

    time_s: FloatArray
    thigh_deg: Mapping[Side, FloatArray]
    knee_deg: Mapping[Side, FloatArray]
    ahead_m: Mapping[Side, FloatArray]
    height_m: Mapping[Side, FloatArray]
    shin_deg: Mapping[Side, FloatArray]
    tilt_deg: FloatArray | None = None
    left_up_deg: FloatArray | None = None
    turn_deg: FloatArray | None = None
    lean_deg: FloatArray | None = None


def compute_body_curves(bones: Mapping[Site, PoseTrack], body: Body) -> BodyCurves:
    """Curves of a simulated run from the poses of its bones, which stand at first.

    Parameters
    ----------
    bones : mapping from Site to PoseTrack
    body : Body
    """
    pelvis, trunk = bones["pelvis"], bones["trunk"]
    thigh: dict[Side, FloatArray] = {}
    shin: dict[Side, FloatArray] = {}
    ahead: dict[Side, FloatArray] = {}
    height: dict[Side, FloatArray] = {}
    for side in SIDES:
        shank, upper = bones[shank_of(side)], bones[thigh_of(side)]
        shin[side] = _measure_sagittal(shank)
        thigh[side] = _measure_sagittal(upper)
        # The thigh's own length counts: in the air its hip is some way off that of the pelvis.
        hip = upper.compute_point_m(np.array([0.0, 0.0, body.thigh_m]))
        ahead[side] = shank.position_m[:, 0] - hip[:, 0]
        height[side] = hip[:, 2] - hip[0, 2]
    left = locate_hip(pelvis, body, "left") - locate_hip(pelvis, body, "right")
    return BodyCurves(
        time_s=pelvis.time_s,
        thigh_deg=thigh,
        knee_deg={side: thigh[side] - shin[side] for side in SIDES},
        ahead_m=ahead,
        height_m=height,
        shin_deg=shin,
        tilt_deg=-_measure_sagittal(pelvis),
        left_up_deg=np.degrees(np.arctan2(left[:, 2], np.hypot(left[:, 0], left[:, 1]))),
        turn_deg=np.degrees(np.arctan2(-left[:, 0], left[:, 1])),
        lean_deg=-_measure_sagittal(trunk),
    )


def _measure_sagittal(track: PoseTrack) -> FloatArray:
    """Lean of the upward axis in the X-Z plane from that at first, backward positive, in deg."""
    up = track.rotation[:, :, 2]
    angle = np.degrees(np.unwrap(np.arctan2(up[:, 2], up[:, 0])))
    return np.asarray(angle - angle[0])


def derive_body_line(
    events: pd.DataFrame, curves: BodyCurves, departures_s: Mapping[Side, float]
) -> dict[str, FloatArray]:
    """Every figure of the body line that the curves tell, at each contact.

    Parameters
    ----------
    events : DataFrame
        ``side``, ``touchdown_s`` and ``toe_off_s`` in order of time.
    curves : BodyCurves
    departures_s : mapping from Side to float
        When each foot first left the ground.
    """
    out: dict[str, FloatArray] = {}
    for side in SIDES:
        rows = np.flatnonzero((events["side"] == side).to_numpy())
        down, off = (events[n].to_numpy(dtype=float)[rows] for n in ("touchdown_s", "toe_off_s"))
        before = np.append(departures_s.get(side, np.nan), off[:-1])
        after = np.append(down[1:], np.nan)
        own = _Reader(curves.time_s, down, off)
        figures = own.read_leg(curves, side, before)
        figures |= own.read_hips(curves, side, after)
        for name, values in figures.items():
            out.setdefault(name, np.full(len(events), np.nan))[rows] = values
    return out


@dataclass(frozen=True, eq=False)
class _Reader:
    """Curves read at one side's contacts."""

    time_s: FloatArray
    down_s: FloatArray
    off_s: FloatArray

    def read_at(self, curve: FloatArray, when_s: FloatArray) -> FloatArray:
        return np.interp(when_s, self.time_s, curve, left=np.nan, right=np.nan)

    def find_ends(
        self, curve: FloatArray, start_s: FloatArray, end_s: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Least and largest within windows; NaN where an end is not known."""
        found = np.full((2, len(start_s)), np.nan)
        for row in np.flatnonzero(end_s > start_s):
            inside = (self.time_s >= start_s[row]) & (self.time_s <= end_s[row])
            if inside.any():
                found[:, row] = curve[inside].min(), curve[inside].max()
        return found[0], found[1]

    def read_leg(
        self, curves: BodyCurves, side: Side, before_s: FloatArray
    ) -> dict[str, FloatArray]:
        thigh, knee, ahead = curves.thigh_deg[side], curves.knee_deg[side], curves.ahead_m[side]
        out = {
            "thigh_angle_touchdown_deg": self.read_at(thigh, self.down_s),
            "thigh_angle_toe_off_deg": self.read_at(thigh, self.off_s),
            "thigh_angle_swing_max_deg": self.find_ends(thigh, before_s, self.down_s)[1],
            "knee_angle_touchdown_deg": self.read_at(knee, self.down_s),
            "knee_angle_toe_off_deg": self.read_at(knee, self.off_s),
            "knee_angle_stance_min_deg": self.find_ends(knee, self.down_s, self.off_s)[0],
            "ankle_ahead_of_hip_touchdown_m": self.read_at(ahead, self.down_s),
            "ankle_ahead_of_hip_toe_off_m": self.read_at(ahead, self.off_s),
        }
        if side in curves.height_m:
            height = curves.height_m[side]
            out["hip_height_touchdown_m"] = self.read_at(height, self.down_s)
            early_s = self.down_s + 0.7 * (self.off_s - self.down_s)
            out["hip_height_stance_min_m"] = self.find_ends(height, self.down_s, early_s)[0]
        return out

    def read_hips(
        self, curves: BodyCurves, side: Side, after_s: FloatArray
    ) -> dict[str, FloatArray]:
        out: dict[str, FloatArray] = {}
        tilt, lean = curves.tilt_deg, curves.lean_deg
        if tilt is not None:
            low, high = self.find_ends(tilt, self.down_s, self.off_s)
            extension = -curves.thigh_deg[side] - tilt
            out |= {
                "pelvis_tilt_touchdown_deg": self.read_at(tilt, self.down_s),
                "pelvis_tilt_toe_off_deg": self.read_at(tilt, self.off_s),
                "pelvis_tilt_stance_range_deg": high - low,
                "hip_extension_toe_off_deg": self.read_at(extension, self.off_s),
            }
        if curves.left_up_deg is not None:
            raised = curves.left_up_deg * (1.0 if side == "left" else -1.0)
            top = self.find_ends(raised, self.down_s, self.off_s)[1]
            out["pelvis_drop_stance_deg"] = top - self.read_at(raised, self.down_s)
        if curves.turn_deg is not None:
            low, high = self.find_ends(curves.turn_deg, self.down_s, after_s)
            out["pelvis_rotation_range_deg"] = high - low
        if lean is not None:
            out["trunk_lean_touchdown_deg"] = self.read_at(lean, self.down_s)
            out["trunk_lean_toe_off_deg"] = self.read_at(lean, self.off_s)
            against = self.read_at(lean + curves.shin_deg[side], self.down_s)
            out["trunk_against_shin_touchdown_deg"] = against
            if tilt is not None:
                out["waist_bend_touchdown_deg"] = self.read_at(lean - tilt, self.down_s)
        return out
