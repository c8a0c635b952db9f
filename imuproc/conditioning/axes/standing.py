"""Which still stretches are quiet standing, before and after a run.

The set position is nearly still too, and so is an athlete who bends over to breathe after the run:
stillness alone does not make standing. Standing before and after agree in every sensor (but one
that has slipped); the set position agrees with neither.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.axes.stillness import find_common_rests
from imuproc.conditioning.timebase import TimeBased
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Conditioned, Interval, Start
from imuproc.core.sites import Site, is_lower_leg
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]


class StandingSettings(StageSettings):
    """Which still stretches are quiet standing."""

    search_s: float = number(
        60.0,
        (1.0, 3600.0),
        "How far before and after a run its standing is looked for.",
        "nobody keeps the posture of quiet standing for longer (judgement)",
    )
    reach_in_s: float = number(
        0.3, (0.0, 5.0), "How far a still stretch may reach into the run, whose ends are rough."
    )
    longest_s: float = number(
        6.0,
        (0.5, 600.0),
        "So much of a longer stretch is used, what is nearest to the run: the zero is then known "
        "to less than what the same posture differs by from one time to the next.",
    )
    same_posture_deg: float = number(
        12.0,
        (1.0, 90.0),
        "Gravity in a sensor differs by less between two stands in one posture.",
    )
    differs_deg: float = number(
        4.0, (0.1, 90.0), "Gravity that differs by more between both stands is flagged."
    )
    enough_sensors: int = number(
        4,
        (2, 9),
        "Of so many sensors and more one may differ in posture: it may have slipped.",
        unit="sensors",
    )
    set_position_s: float = number(
        0.5,
        (0.0, 10.0),
        "A hold that lasts until so short before a start out of blocks, three-point or crouch is "
        "the set position, where no standing after the run can be compared.",
    )

    ordered = (("differs_deg", "same_posture_deg"),)


@dataclass(frozen=True, eq=False)
class Standing:
    """Quiet standing around one run.

    Parameters
    ----------
    before, after : Interval or None
    flags : tuple of RaisedFlag
    compared : Interval or None
        Rest after the run in which a sensor's gravity tells whether it has slipped.
    """

    before: Interval | None
    after: Interval | None
    flags: tuple[RaisedFlag, ...] = ()
    compared: Interval | None = None


def find_standing(
    timebased: TimeBased,
    rests: Mapping[Site, tuple[Interval, ...]],
    run: Interval,
    shortest_s: float,
    settings: StandingSettings,
    rejected: tuple[Interval, ...] = (),
) -> Standing:
    """Quiet standing before and after a run: the legs decide, a pelvis may sway.

    Parameters
    ----------
    timebased : TimeBased
    rests : mapping from Site to tuple of Interval
        Rests of each sensor.
    run : Interval
    shortest_s : float
        Least duration of quiet standing in s.
    settings : StandingSettings
    rejected : tuple of Interval
        Rests that turned out not to be standing.

    Returns
    -------
    Standing
        With flags where one or both are missing or do not agree.
    """
    legs = [own for site, own in rests.items() if is_lower_leg(site)] or list(rests.values())
    common = [p for p in find_common_rests(legs, shortest_s) if not _is_among(p, rejected)]
    before, after = _list_rests_around(common, run, settings)
    postures = {part: _measure_posture(timebased, part) for part in (*before, *after)}
    pairs = [
        (first, last)
        for first in before
        for last in after
        if _is_same_posture(postures[first], postures[last], settings)
    ]
    sites: list[Site] = [site for site in rests if is_lower_leg(site)] or [*rests]
    if pairs:
        same_deg = settings.same_posture_deg
        alike = [
            p for p in pairs if _find_largest_difference_deg(*(postures[q] for q in p)) < same_deg
        ]
        pair = max(alike or pairs, key=_rank_pair)
        flags = _list_posture_flags(*pair, postures, sites, settings.differs_deg)
        return Standing(*pair, tuple(flags), pair[1])
    found = _choose_one_sided(before, after, postures, timebased.recording.run.start, run, settings)
    if found.before is not None and found.compared is not None:
        parts = (found.before, found.compared)
        raised = _list_posture_flags(*parts, postures, sites, settings.differs_deg)
        # Gravity is another in several sensors, or nothing tells: that is posture, not a slip.
        found = replace(found, flags=(*found.flags, *raised), compared=None)
    if not rejected:
        return found
    missing, *others = found.flags
    still = (replace(missing, span_s=(part.start_s, part.end_s)) for part in rejected)
    return replace(found, flags=(*still, *others))


def _list_rests_around(
    still: Sequence[Interval], run: Interval, settings: StandingSettings
) -> tuple[list[Interval], list[Interval]]:
    """Rests before and after a run; of long ones what is nearest to it."""
    longest_s, within_s = settings.longest_s, settings.reach_in_s
    before = [
        Interval(max(part.start_s, part.end_s - longest_s), part.end_s)
        for part in still
        if part.end_s >= run.start_s - settings.search_s and part.start_s <= run.start_s + within_s
    ]
    after = [
        Interval(part.start_s, min(part.end_s, part.start_s + longest_s))
        for part in still
        if part.start_s <= run.end_s + settings.search_s and part.end_s >= run.end_s - within_s
    ]
    return before, after


def _rank_pair(pair: tuple[Interval, Interval]) -> tuple[float, float]:
    """Pairs by the shorter of both; of equally long ones those with less time in between."""
    before, after = pair
    return round(min(before.duration_s, after.duration_s), 1), before.end_s - after.start_s


def _is_among(part: Interval, others: tuple[Interval, ...]) -> bool:
    return any(part.start_s < other.end_s and other.start_s < part.end_s for other in others)


def restrict_standing(
    standing: Standing, rests: tuple[Interval, ...], shortest_s: float
) -> Standing:
    """The part of quiet standing in which one sensor was still itself.

    Parameters
    ----------
    standing : Standing
        Of the legs.
    rests : tuple of Interval
        Rests of the sensor.
    shortest_s : float

    Returns
    -------
    Standing
        Without flags.
    """
    return Standing(
        _find_still_part(standing.before, rests, shortest_s),
        _find_still_part(standing.after, rests, shortest_s),
        compared=_find_still_part(standing.compared, rests, shortest_s),
    )


def _find_still_part(
    part: Interval | None, rests: tuple[Interval, ...], shortest_s: float
) -> Interval | None:
    if part is None:
        return None
    still = find_common_rests([(part,), rests], shortest_s)
    return max(still, key=lambda part: part.duration_s, default=None)


def _choose_one_sided(
    before: list[Interval],
    after: list[Interval],
    postures: Mapping[Interval, FloatArray],
    start: Start,
    run: Interval,
    settings: StandingSettings,
) -> Standing:
    """Standing on one side of the run only, or on neither."""
    if start in ("blocks", "three-point", "crouch"):
        # With nothing to compare, a hold that lasts until the start is the set position.
        before = [p for p in before if p.end_s < run.start_s - settings.set_position_s]
        vary = (
            len(before) > 1 and _measure_variation_deg(before, postures) > settings.same_posture_deg
        )
        before = before[:1] if vary else before
    # Of equally long ones the nearest to the run.
    longest_after = max(after, key=lambda part: round(part.duration_s, 1), default=None)
    longest = max(before[::-1], key=lambda part: round(part.duration_s, 1), default=None)
    if longest is None:
        name = "no_standing" if longest_after is None else "no_standing_before"
        return Standing(None, longest_after, (RaisedFlag(name),))
    return Standing(longest, None, (RaisedFlag("no_standing_after"),), longest_after)


def _measure_variation_deg(parts: list[Interval], postures: Mapping[Interval, FloatArray]) -> float:
    return max(_find_largest_difference_deg(postures[parts[0]], postures[p]) for p in parts)


def _measure_posture(timebased: TimeBased, part: Interval) -> FloatArray:
    """Direction of gravity in each leg sensor, shape (sites, 3)."""
    inside = (timebased.time_s >= part.start_s) & (timebased.time_s <= part.end_s)
    sites = timebased.sites
    legs = [signals for site, signals in sites.items() if is_lower_leg(site)] or list(
        sites.values()
    )
    mean = np.array([np.nanmean(signals.accel_mps2[inside], axis=0) for signals in legs])
    return np.asarray(mean / np.linalg.norm(mean, axis=1, keepdims=True))


def _is_same_posture(a: FloatArray, b: FloatArray, settings: StandingSettings) -> bool:
    """Whether gravity is alike in all sensors; of enough of them one may have slipped."""
    away = _compute_differences_deg(a, b) >= settings.same_posture_deg
    return int(away.sum()) <= (1 if len(away) >= settings.enough_sensors else 0)


def _find_largest_difference_deg(a: FloatArray, b: FloatArray) -> float:
    """Largest angle between the directions of gravity of two postures, in deg."""
    return float(_compute_differences_deg(a, b).max())


def _compute_differences_deg(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.degrees(np.arccos(np.clip((a * b).sum(axis=1), -1.0, 1.0))))


def list_turn_flags(segments: Mapping[Site, Conditioned], most_deg: float) -> list[RaisedFlag]:
    """Flags for sensors on thighs, pelvis and trunk whose gravity is another after the run.

    Parameters
    ----------
    segments : mapping from Site to Conditioned
    most_deg : float
        A belt may sway by as much.
    """
    turned = {
        site: float(np.degrees(np.arctan2(np.hypot(up[0], up[1]), up[2])))
        for site, segment in segments.items()
        if not is_lower_leg(site) and (up := segment.calibration.up_after) is not None
    }
    return [
        RaisedFlag("standing_differs", {"by_deg": deg}, site)
        for site, deg in turned.items()
        if deg > most_deg
    ]


def _list_posture_flags(
    before: Interval,
    after: Interval,
    postures: Mapping[Interval, FloatArray],
    sites: Sequence[Site],
    most_deg: float,
) -> list[RaisedFlag]:
    differ = _compute_differences_deg(postures[before], postures[after])
    return [
        RaisedFlag("standing_differs", {"by_deg": float(deg)}, site)
        for site, deg in zip(sites, differ, strict=True)
        if deg > most_deg
    ]
