"""Figures of hips, trunk, thighs and knees, for one side's contacts.

All angles count from quiet standing. Lengths go up the leg: ankle, knee, hip.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import Side, Site, foot_of, shank_of, thigh_of
from imuproc.dsp.rotations import quat_rotate
from imuproc.estimators.angles import AngleCurve, AngleSettings, compute_body_curve
from imuproc.estimators.quantities import Quantity, make_missing
from imuproc.estimators.reading import Instants, Swings, read_at_events, summarise_swings
from imuproc.files.settings_model import MEMORY, StageSettings, number

FloatArray = NDArray[np.float64]

_UP = np.array([0.0, 0.0, 1.0])
_LEFT = np.array([0.0, 1.0, 0.0])

_BEFORE_TOES_SHARE: Final = 0.7
"""Part of the contact in which the foot turns about its ball or heel; chosen: on simulated feet."""

BODY_LINE: Final = (
    "pelvis_tilt_touchdown_deg",
    "pelvis_tilt_toe_off_deg",
    "pelvis_tilt_stance_range_deg",
    "pelvis_drop_stance_deg",
    "pelvis_rotation_range_deg",
    "hip_height_touchdown_m",
    "hip_height_stance_min_m",
    "trunk_lean_touchdown_deg",
    "trunk_lean_toe_off_deg",
    "waist_bend_touchdown_deg",
    "trunk_against_shin_touchdown_deg",
    "thigh_angle_touchdown_deg",
    "thigh_angle_toe_off_deg",
    "thigh_angle_swing_max_deg",
    "knee_angle_touchdown_deg",
    "knee_angle_stance_min_deg",
    "knee_angle_toe_off_deg",
    "hip_extension_toe_off_deg",
    "ankle_ahead_of_hip_touchdown_m",
    "ankle_ahead_of_hip_toe_off_m",
)


class LegLengthSettings(StageSettings):
    """Lengths of a foot that the height of the ankle goes by, where only the stature is known."""

    basis = f"facts of anatomy, {MEMORY}"
    ankle_from_ball_share: float = number(
        0.076, (0.0, 0.2), "From the ball of the foot back to the ankle, as a share of stature."
    )
    ankle_from_heel_share: float = number(
        0.033, (0.0, 0.2), "From the heel forward to the ankle, as a share of stature."
    )
    ankle_above_ball_share: float = number(
        0.024,
        (0.0, 0.2),
        "Height of the ankle over the joint of the toes on a flat foot, as a share of stature.",
    )
    length_u_share: float = number(
        0.05, (0.0, 0.5), "Standard uncertainty of shank and thigh, as a share of their length."
    )


@dataclass(frozen=True)
class LegLengths:
    """Lengths of a leg in m; NaN where neither they nor the stature are known."""

    shank_m: float
    thigh_m: float
    stature_m: float


@dataclass(frozen=True, eq=False)
class SideEvents:
    """Contacts of one side: touchdowns, toe-offs, the swing before and the stride after each."""

    touchdowns: Instants
    toe_offs: Instants
    swings: Swings
    strides: Swings


def compute_body_line(
    motion: Motion,
    side: Side,
    events: SideEvents,
    lengths: LegLengths,
    settings: tuple[AngleSettings, LegLengthSettings],
    doubted: Callable[[AngleCurve, Site], AngleCurve],
) -> dict[str, Quantity]:
    """Every figure of :data:`BODY_LINE`; missing where a sensor that it needs is.

    Parameters
    ----------
    motion : Motion
    side : {"left", "right"}
    events : SideEvents
    lengths : LegLengths
    settings : tuple of AngleSettings and LegLengthSettings
    doubted : callable
        A curve with what gaps and clocks of its sensor leave uncertain.

    Returns
    -------
    dict from str to Quantity
    """
    angles, leg = settings
    curves: dict[str, AngleCurve] = {}
    of_site: Mapping[str, Site] = {
        "pelvis": "pelvis",
        "trunk": "trunk",
        "thigh": thigh_of(side),
        "shank": shank_of(side),
        "foot": foot_of(side),
    }
    for name, site in of_site.items():
        segment = motion.segments.get(site)
        if segment is not None:
            curves[name] = doubted(compute_body_curve(motion.time_s, segment, angles), site)
    figures = _Figures(curves, events)
    out = figures.read_angles()
    pelvis = motion.segments.get("pelvis")
    if pelvis is not None:
        out |= figures.read_pelvis(pelvis, 1.0 if side == "left" else -1.0)
    if {"thigh", "shank"} <= curves.keys():
        chain = _Chain(motion, side, curves, lengths, leg)
        out |= figures.read_lengths(chain.reach_ahead(), chain.measure_rise())
    absent = make_missing(len(events.touchdowns.time_s))
    return {name: out.get(name, absent) for name in BODY_LINE}


@dataclass(frozen=True, eq=False)
class _Figures:
    """Curves of one side's contacts by segment, pitch from standing, and when to read them."""

    curves: Mapping[str, AngleCurve]
    events: SideEvents

    def read_angles(self) -> dict[str, Quantity]:
        down, off, swings = self.events.touchdowns, self.events.toe_offs, self.events.swings
        stance = _make_stance(self.events)
        out: dict[str, Quantity] = {}
        if (thigh := self._combine_pitches(thigh=1.0)) is not None:
            out["thigh_angle_touchdown_deg"] = read_at_events(thigh, down)
            out["thigh_angle_toe_off_deg"] = read_at_events(thigh, off)
            out["thigh_angle_swing_max_deg"] = summarise_swings(thigh, swings, 1.0, "max")
        if (knee := self._combine_pitches(thigh=1.0, shank=-1.0)) is not None:
            out["knee_angle_touchdown_deg"] = read_at_events(knee, down)
            out["knee_angle_toe_off_deg"] = read_at_events(knee, off)
            out["knee_angle_stance_min_deg"] = summarise_swings(knee, stance, 1.0, "min")
        if (tilt := self._combine_pitches(pelvis=-1.0)) is not None:
            out["pelvis_tilt_touchdown_deg"] = read_at_events(tilt, down)
            out["pelvis_tilt_toe_off_deg"] = read_at_events(tilt, off)
            out["pelvis_tilt_stance_range_deg"] = _measure_range(tilt, stance)
        if (lean := self._combine_pitches(trunk=-1.0)) is not None:
            out["trunk_lean_touchdown_deg"] = read_at_events(lean, down)
            out["trunk_lean_toe_off_deg"] = read_at_events(lean, off)
        for name, curve, when in (
            ("waist_bend_touchdown_deg", self._combine_pitches(trunk=-1.0, pelvis=1.0), down),
            (
                "trunk_against_shin_touchdown_deg",
                self._combine_pitches(trunk=-1.0, shank=1.0),
                down,
            ),
            ("hip_extension_toe_off_deg", self._combine_pitches(thigh=-1.0, pelvis=1.0), off),
        ):
            if curve is not None:
                out[name] = read_at_events(curve, when)
        return out

    def read_pelvis(self, pelvis: SegmentMotion, outward: float) -> dict[str, Quantity]:
        """Drop to the swing side in stance, and turn over a stride."""
        own = self.curves["pelvis"]
        bend = 0.0 if pelvis.bend_rad is None else pelvis.bend_rad
        left = quat_rotate(pelvis.quat_wxyz, _LEFT)
        side_up = np.arcsin(np.clip(left[:, 2], -1.0, 1.0))
        turn = np.unwrap(np.arctan2(-left[:, 0], left[:, 1])) - bend
        raised = _replace_angle(own, outward * side_up)
        stance = _make_stance(self.events)
        highest = summarise_swings(raised, stance, 1.0, "max")
        first = read_at_events(raised, self.events.touchdowns)
        return {
            "pelvis_drop_stance_deg": _subtract_quantities(highest, first),
            "pelvis_rotation_range_deg": _measure_range(
                _replace_angle(own, turn), self.events.strides
            ),
        }

    def read_lengths(self, ahead: AngleCurve, rise: AngleCurve | None) -> dict[str, Quantity]:
        down, off = self.events.touchdowns, self.events.toe_offs
        out = {
            "ankle_ahead_of_hip_touchdown_m": read_at_events(ahead, down, 1.0),
            "ankle_ahead_of_hip_toe_off_m": read_at_events(ahead, off, 1.0),
        }
        if rise is not None:
            # Later the foot rolls over its toes, and how high that lifts the ankle is not known.
            until_s = down.time_s + _BEFORE_TOES_SHARE * (off.time_s - down.time_s)
            early = Swings(down, Instants(until_s, off.u_s, off.shared_u_s))
            out["hip_height_touchdown_m"] = read_at_events(rise, down, 1.0)
            out["hip_height_stance_min_m"] = summarise_swings(rise, early, 1.0, "min", 1.0)
        return out

    def _combine_pitches(self, **weights: float) -> AngleCurve | None:
        """A sum of pitches; None where one of them is not measured."""
        if not weights.keys() <= self.curves.keys():
            return None
        parts = [self.curves[name] for name in weights]
        signs = np.array(list(weights.values()))
        names = sorted({name for part in parts for name in part.parts_rad})
        return AngleCurve(
            parts[0].time_s,
            signs @ np.stack([part.angle_rad for part in parts]),
            signs @ np.stack([part.rate_radps for part in parts]),
            {
                n: _join_parts([part.parts_rad[n] for part in parts if n in part.parts_rad])
                for n in names
            },
        )


@dataclass(frozen=True, eq=False)
class _Chain:
    """From the ground up to the hip of one side, as curves in m."""

    motion: Motion
    side: Side
    curves: Mapping[str, AngleCurve]
    lengths: LegLengths
    settings: LegLengthSettings

    def reach_ahead(self) -> AngleCurve:
        """How far the ankle is ahead of the hip."""
        (shank, thigh) = self._compute_directions()
        value = -self.lengths.shank_m * shank[:, 0] - self.lengths.thigh_m * thigh[:, 0]
        return self._make_curve(value, shank[:, 2], thigh[:, 2], shank[:, 0], thigh[:, 0])

    def measure_rise(self) -> AngleCurve | None:
        """Height of the hip over the ground against standing; None without a foot."""
        if "foot" not in self.curves:
            return None
        (shank, thigh) = self._compute_directions()
        tall = self.lengths.stature_m
        pitch = self.curves["foot"].angle_rad
        arm = np.where(
            pitch < 0.0,
            self.settings.ankle_from_ball_share,
            self.settings.ankle_from_heel_share,
        )
        ankle = tall * arm * np.abs(np.sin(pitch))
        ankle += tall * self.settings.ankle_above_ball_share * (np.cos(pitch) - 1.0)
        value = (
            ankle
            + self.lengths.shank_m * (shank[:, 2] - 1.0)
            + self.lengths.thigh_m * (thigh[:, 2] - 1.0)
        )
        return self._make_curve(
            value, shank[:, 0], thigh[:, 0], shank[:, 2] - 1.0, thigh[:, 2] - 1.0
        )

    def _compute_directions(self) -> list[FloatArray]:
        """Upward axis of shank and thigh, X along the way, shape (n, 3) each."""
        out = []
        for site in (shank_of(self.side), thigh_of(self.side)):
            segment = self.motion.segments[site]
            up = quat_rotate(segment.quat_wxyz, _UP)
            if segment.bend_rad is not None:
                cos, sin = np.cos(segment.bend_rad), np.sin(segment.bend_rad)
                up = np.stack(
                    (cos * up[:, 0] + sin * up[:, 1], cos * up[:, 1] - sin * up[:, 0], up[:, 2]), 1
                )
            out.append(up)
        return out

    def _make_curve(
        self,
        value: FloatArray,
        by_shank: FloatArray,
        by_thigh: FloatArray,
        shank_share: FloatArray,
        thigh_share: FloatArray,
    ) -> AngleCurve:
        """A length with its uncertainty: of both angles, and of both lengths."""
        own = self.curves["thigh"]
        sizes = (
            self.lengths.shank_m * np.abs(by_shank),
            self.lengths.thigh_m * np.abs(by_thigh),
        )
        both = [self.curves["shank"], own]
        names = sorted({name for part in both for name in part.parts_rad})
        parts = {
            n: _join_parts(
                [
                    size * part.parts_rad[n]
                    for size, part in zip(sizes, both, strict=True)
                    if n in part.parts_rad
                ]
            )
            for n in names
        }
        share = self.settings.length_u_share
        parts["length"] = share * _join_parts(
            [self.lengths.shank_m * shank_share, self.lengths.thigh_m * thigh_share]
        )
        return AngleCurve(own.time_s, value, np.gradient(value, own.time_s), parts)


def _make_stance(events: SideEvents) -> Swings:
    return Swings(events.touchdowns, events.toe_offs)


def _replace_angle(curve: AngleCurve, angle_rad: FloatArray) -> AngleCurve:
    return replace(curve, angle_rad=angle_rad, rate_radps=np.gradient(angle_rad, curve.time_s))


def _join_parts(parts: list[FloatArray]) -> FloatArray:
    return np.asarray(np.sqrt(np.sum(np.square(parts), axis=0)))


_CANCELS: Final = frozenset({"drift", "alignment", "standing", "clipping", "rate"})
"""Parts that hardly change within a stance, so that they are gone from a difference."""


def _measure_range(curve: AngleCurve, windows: Swings) -> Quantity:
    """From the least to the largest within each window."""
    return _subtract_quantities(
        summarise_swings(curve, windows, 1.0, "max"), summarise_swings(curve, windows, 1.0, "min")
    )


def _subtract_quantities(one: Quantity, other: Quantity) -> Quantity:
    """The first less the second, both of one curve and within a step."""
    parts = {
        name: np.sqrt(part**2 + other.parts[name] ** 2)
        for name, part in one.parts.items()
        if name not in _CANCELS
    }
    return Quantity(one.value - other.value, parts)
