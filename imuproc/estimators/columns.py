"""Every column of the step table from motion and contacts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.body import SHANK_PER_STATURE, THIGH_PER_STATURE
from imuproc.core.clocks import Clocks
from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.core.recording import Athlete
from imuproc.core.sites import SIDES, Side, Site, foot_of, is_lower_leg, shank_of
from imuproc.estimators.angles import (
    AngleCurve,
    AngleSettings,
    compute_dorsiflexion_curve,
    compute_pitch_curve,
    compute_shin_curve,
)
from imuproc.estimators.body_line import (
    LegLengths,
    LegLengthSettings,
    SideEvents,
    compute_body_line,
)
from imuproc.estimators.clocks import add_clock_doubt
from imuproc.estimators.distance import DistanceSettings
from imuproc.estimators.gaps import Gaps, GapSettings, compute_stride_doubt_m
from imuproc.estimators.phase import PhaseSettings
from imuproc.estimators.quantities import Quantity, make_missing
from imuproc.estimators.reading import Instants, Swings, read_at_events, summarise_swings
from imuproc.estimators.sides import SideSettings
from imuproc.estimators.stride import (
    StepLengths,
    StrideSettings,
    solve_step_lengths,
    tabulate_lengths,
)
from imuproc.estimators.swings import (
    SwingSettings,
    find_missed_before,
    find_swings,
    get_toe_offs,
    get_touchdowns,
)
from imuproc.estimators.timing import compute_timing_quantities
from imuproc.estimators.upright import UprightSettings
from imuproc.files.settings_model import number, table

FloatArray = NDArray[np.float64]

_LAST_QUARTER, _LAST_40, _LAST_60 = 0.25, 0.40, 0.60
"""Parts of the swing, up to touchdown, that the columns of the step table are defined by."""


class EstimatorSettings(SwingSettings):
    """Settings of all estimators."""

    shank_per_stature_share: float = number(
        SHANK_PER_STATURE,
        (0.1, 0.5),
        "Shank length as a share of stature, where the session file states none.",
        "Drillis & Contini 1966 (value from memory, high)",
    )
    thigh_per_stature_share: float = number(
        THIGH_PER_STATURE,
        (0.1, 0.5),
        "Thigh length as a share of stature, where the session file states none.",
        "Drillis & Contini 1966 (value from memory, high)",
    )
    shank_length_u_share: float = number(
        0.05, (0.0, 1.0), "Standard uncertainty of the shank's length, as a share of it."
    )
    clock_unsure_s: float = number(
        0.006,
        (0.0, 1.0),
        "Standard uncertainty of one leg's clock against the other's above which it is told.",
    )
    angles: AngleSettings = table(AngleSettings)
    leg: LegLengthSettings = table(LegLengthSettings)
    stride: StrideSettings = table(StrideSettings)
    phase: PhaseSettings = table(PhaseSettings)
    gaps: GapSettings = table(GapSettings)
    distance: DistanceSettings = table(DistanceSettings)
    sides: SideSettings = table(SideSettings)
    upright: UprightSettings = table(UprightSettings)


@dataclass(frozen=True, eq=False)
class LegCurves:
    """Angle curves of one leg; None where a sensor is missing."""

    shin: AngleCurve | None
    pitch: AngleCurve | None
    dorsiflexion: AngleCurve | None


def compute_leg_curves(
    motion: Motion,
    side: Side,
    athlete: Athlete,
    settings: AngleSettings,
    gaps: Mapping[Site, Gaps] | None = None,
    clocks: Clocks | None = None,
) -> LegCurves:
    """Angle curves of one leg.

    Parameters
    ----------
    motion : Motion
    side : {"left", "right"}
    athlete : Athlete
        Its known standing lean shifts the shin angle. Dorsiflexion stays 0 in quiet standing.
    settings : AngleSettings
    gaps : mapping from Site to Gaps, optional
        Missing samples: they make the angles near them less certain.
    clocks : Clocks, optional
        A shank whose clock is not the foot's is less certain where it turns fast.

    Returns
    -------
    LegCurves
    """
    gaps, clocks = gaps or {}, clocks or Clocks()
    foot, shank = motion.segments.get(foot_of(side)), motion.segments.get(shank_of(side))
    shin, pitch = None, None
    if shank is not None:
        shin = _add_gaps(compute_shin_curve(motion.time_s, shank, settings), gaps.get(shank.site))
        head = shank.site if foot is None else foot.site
        shin = add_clock_doubt(shin, clocks, shank.site, head)
    if foot is not None:
        pitch = _add_gaps(compute_pitch_curve(motion.time_s, foot, settings), gaps.get(foot.site))
        pitch = add_clock_doubt(pitch, clocks, foot.site, foot.site)
    both = None if shin is None or pitch is None else compute_dorsiflexion_curve(shin, pitch)
    if shin is not None and athlete.standing_lean_deg:
        lean = np.radians(athlete.standing_lean_deg)
        shin = replace(shin, angle_rad=shin.angle_rad - lean)
    return LegCurves(shin, pitch, both)


def _add_gaps(curve: AngleCurve, gaps: Gaps | None) -> AngleCurve:
    part = (
        np.zeros(len(curve.time_s)) if gaps is None else gaps.compute_angle_part_rad(curve.time_s)
    )
    return replace(curve, parts_rad={**curve.parts_rad, "gap": part})


def compute_all_lengths(
    motion: Motion, contacts: Contacts, settings: EstimatorSettings, gaps: Mapping[Site, Gaps]
) -> StepLengths | None:
    """Step lengths with their covariance; None where no stride can be used.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts
    settings : EstimatorSettings
    gaps : mapping from Site to Gaps
        Missing and clipped samples of each sensor.
    """
    doubt = {side: compute_stride_doubt_m(contacts, gaps, side, motion) for side in SIDES}
    return solve_step_lengths(motion, contacts, settings.stride, doubt)


@dataclass(frozen=True, eq=False)
class Quantities:
    """Every figure of every step, and what it was read from.

    Parameters
    ----------
    by_name : mapping from column name to Quantity
        Missing figures are NaN.
    legs : mapping from Side to LegCurves
    lengths : StepLengths or None
        None where no stride can be used.
    """

    by_name: Mapping[str, Quantity]
    legs: Mapping[Side, LegCurves]
    lengths: StepLengths | None


def compute_all_quantities(
    motion: Motion,
    contacts: Contacts,
    athlete: Athlete,
    settings: EstimatorSettings,
    gaps: Mapping[Site, Gaps],
    clocks: Clocks | None = None,
) -> Quantities:
    """Every figure of every step.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts
    athlete : Athlete
    settings : EstimatorSettings
    gaps : mapping from Site to Gaps
        Missing samples of each sensor.
    clocks : Clocks, optional
        Shared when left out.

    Returns
    -------
    Quantities
    """
    clocks = clocks or Clocks()
    figures = compute_timing_quantities(contacts, settings.stride.longest_step_s)
    lengths = compute_all_lengths(motion, contacts, settings, gaps)
    figures.update(tabulate_lengths(lengths, len(contacts)))
    legs = {
        side: compute_leg_curves(motion, side, athlete, settings.angles, gaps, clocks)
        for side in SIDES
    }
    by_side = []
    for side in SIDES:
        rows = contacts.side == side
        leg = _compute_leg_quantities(motion, contacts.take(rows), side, legs[side], settings)
        leg |= _compute_upper_body(
            motion, contacts.take(rows), side, athlete, settings, gaps, clocks
        )
        by_side.append(
            (rows, {**leg, "ankle_ahead_of_knee_m": _compute_ankle_ahead(leg, athlete, settings)})
        )
    for name in by_side[0][1]:
        figures[name] = _interleave_sides(
            [(rows, leg[name]) for rows, leg in by_side], len(contacts)
        )
    return Quantities(figures, legs, lengths)


def _compute_leg_quantities(
    motion: Motion, own: Contacts, side: Side, curves: LegCurves, settings: EstimatorSettings
) -> dict[str, Quantity]:
    swings = find_swings(motion, own, side, settings)
    down, off = get_touchdowns(own), get_toe_offs(own)
    absent = make_missing(len(own))

    def read(curve: AngleCurve | None, events: Instants) -> Quantity:
        return absent if curve is None else read_at_events(curve, events)

    def summarise(curve: AngleCurve | None, share: float, statistic: str) -> Quantity:
        return absent if curve is None else summarise_swings(curve, swings, share, statistic)

    return {
        "shin_angle_touchdown_deg": read(curves.shin, down),
        "shin_angle_toe_off_deg": read(curves.shin, off),
        "foot_pitch_touchdown_deg": read(curves.pitch, down),
        "foot_pitch_toe_off_deg": read(curves.pitch, off),
        "foot_pitch_swing_min_deg": summarise(curves.pitch, _LAST_QUARTER, "min"),
        "foot_pitch_swing_max_deg": summarise(curves.pitch, _LAST_40, "max"),
        "dorsiflexion_touchdown_deg": read(curves.dorsiflexion, down),
        "dorsiflexion_swing_min_deg": summarise(curves.dorsiflexion, _LAST_60, "min"),
        "dorsiflexion_swing_mean_deg": summarise(curves.dorsiflexion, _LAST_40, "mean"),
    }


def _compute_ankle_ahead(
    leg: Mapping[str, Quantity], athlete: Athlete, settings: EstimatorSettings
) -> Quantity:
    """Ankle ahead of the knee in m: minus shank length times cos(shin angle at touchdown)."""
    shin = leg["shin_angle_touchdown_deg"]
    length = athlete.shank_length_m
    if length is None and athlete.stature_m is not None:
        length = settings.shank_per_stature_share * athlete.stature_m
    if length is None:
        return make_missing(len(shin.value))
    angle = np.radians(shin.value)
    parts = {
        name: np.abs(length * np.sin(angle)) * np.radians(part) for name, part in shin.parts.items()
    }
    parts["length"] = np.abs(settings.shank_length_u_share * length * np.cos(angle))
    return Quantity(-length * np.cos(angle), parts)


def _interleave_sides(parts: list[tuple[NDArray[np.bool_], Quantity]], count: int) -> Quantity:
    """Quantities of both sides back in the order of the contacts."""
    value = np.full(count, np.nan)
    spread: dict[str, FloatArray] = {}
    for rows, figure in parts:
        value[rows] = figure.value
        for name, part in figure.parts.items():
            spread.setdefault(name, np.full(count, np.nan))[rows] = part
    return Quantity(value, spread)


def _compute_upper_body(
    motion: Motion,
    own: Contacts,
    side: Side,
    athlete: Athlete,
    settings: EstimatorSettings,
    gaps: Mapping[Site, Gaps],
    clocks: Clocks,
) -> dict[str, Quantity]:
    """Hips, trunk, thighs and knees at one side's contacts."""
    # Legs are tied to each other better than to the rest: either stands for both.
    head = next((site for site in motion.segments if is_lower_leg(site)), None)

    def add_doubts(curve: AngleCurve, site: Site) -> AngleCurve:
        return add_clock_doubt(_add_gaps(curve, gaps.get(site)), clocks, site, head)

    down = get_touchdowns(own)
    next_s = np.append(own.touchdown_s[1:], np.nan)[: len(own)]
    missed = np.append(find_missed_before(own, settings.longest_stride_share)[1:], True)
    next_s = np.where(missed[: len(own)], np.nan, next_s)
    events = SideEvents(
        down,
        get_toe_offs(own),
        find_swings(motion, own, side, settings),
        Swings(down, Instants(next_s, down.u_s, down.shared_u_s)),
    )
    shank_m, stature_m = athlete.shank_length_m, athlete.stature_m
    if stature_m is None:
        stature_m = (shank_m or float("nan")) / settings.shank_per_stature_share
    lengths = LegLengths(
        shank_m or settings.shank_per_stature_share * stature_m,
        athlete.thigh_length_m or settings.thigh_per_stature_share * stature_m,
        stature_m,
    )
    both = (settings.angles, settings.leg)
    return compute_body_line(motion, side, events, lengths, both, add_doubts)
