"""Which still stretches are quiet standing, before and after a run.

The set position is nearly still too, and so is an athlete who bends over to breathe after the run:
stillness alone does not make standing. Standing before and after agree in every sensor (but one
that has slipped); the set position agrees with neither.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.axes.stillness import common_stretches
from imuproc.conditioning.surroundings import SEARCH_S
from imuproc.conditioning.timebase import TimeBased
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval, Start
from imuproc.core.sites import Site

FloatArray = NDArray[np.float64]

_SAME_POSTURE_DEG = 12.0
_ENOUGH_SENSORS = 4
_AT_THE_START_S = 0.5
_STANDING_DIFFERS_DEG = 4.0
_LONGEST_S = 6.0
"""So much of a longer stretch is used, what is nearest to the run: the zero is then known to less
than what the same posture differs by from one time to the next."""


@dataclass(frozen=True, eq=False)
class Standing:
    """Quiet standing around one run.

    Parameters
    ----------
    before, after : Interval or None
    flags : tuple of RaisedFlag
    compared : Interval or None
        Still stretch after the run in which a sensor's gravity tells whether it has slipped.
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
    rejected: tuple[Interval, ...] = (),
) -> Standing:
    """Quiet standing before and after a run: the legs decide, a pelvis may sway.

    Parameters
    ----------
    timebased : TimeBased
    rests : mapping from Site to tuple of Interval
        Still stretches of each sensor.
    run : Interval
    shortest_s : float
        Least duration of quiet standing in s.
    rejected : tuple of Interval
        Still stretches that turned out not to be standing.

    Returns
    -------
    Standing
        With flags where one or both are missing or do not agree.
    """
    legs = [own for site, own in rests.items() if site != "pelvis"] or list(rests.values())
    common = [p for p in common_stretches(legs, shortest_s) if not _among(p, rejected)]
    early, late = run.start_s - SEARCH_S, run.end_s + SEARCH_S
    before = [_last(p) for p in common if p.end_s >= early and p.start_s <= run.start_s + 0.3]
    after = [_first(p) for p in common if p.start_s <= late and p.end_s >= run.end_s - 0.3]
    postures = {part: _posture(timebased, part) for part in (*before, *after)}
    pairs = [
        (first, last)
        for first in before
        for last in after
        if _same_posture(postures[first], postures[last])
    ]
    sites: list[Site] = [site for site in rests if site != "pelvis"] or [*rests]
    if pairs:
        alike = [p for p in pairs if _differ_deg(*(postures[q] for q in p)) < _SAME_POSTURE_DEG]
        pair = max(alike or pairs, key=_long_and_near)
        return Standing(*pair, tuple(_differ_flags(*pair, postures, sites)), pair[1])
    found = _one_sided(before, after, postures, timebased.recording.run.start, run)
    if found.before is not None and found.compared is not None:
        raised = _differ_flags(found.before, found.compared, postures, sites)
        # Gravity is another in several sensors, or nothing tells: that is posture, not a slip.
        found = replace(found, flags=(*found.flags, *raised), compared=None)
    if not rejected:
        return found
    missing, *others = found.flags
    still = (replace(missing, span_s=(part.start_s, part.end_s)) for part in rejected)
    return replace(found, flags=(*still, *others))


def _last(part: Interval) -> Interval:
    return Interval(max(part.start_s, part.end_s - _LONGEST_S), part.end_s)


def _first(part: Interval) -> Interval:
    return Interval(part.start_s, min(part.end_s, part.start_s + _LONGEST_S))


def _long_and_near(pair: tuple[Interval, Interval]) -> tuple[float, float]:
    """Pairs by the shorter of both; of equally long ones those with less time in between."""
    before, after = pair
    return round(min(before.duration_s, after.duration_s), 1), before.end_s - after.start_s


def _among(part: Interval, others: tuple[Interval, ...]) -> bool:
    return any(part.start_s < other.end_s and other.start_s < part.end_s for other in others)


def own_standing(standing: Standing, rests: tuple[Interval, ...], shortest_s: float) -> Standing:
    """The part of quiet standing in which one sensor was still itself.

    Parameters
    ----------
    standing : Standing
        Of the legs.
    rests : tuple of Interval
        Still stretches of the sensor.
    shortest_s : float

    Returns
    -------
    Standing
        Without flags.
    """
    return Standing(
        _still_part(standing.before, rests, shortest_s),
        _still_part(standing.after, rests, shortest_s),
        compared=_still_part(standing.compared, rests, shortest_s),
    )


def _still_part(
    part: Interval | None, rests: tuple[Interval, ...], shortest_s: float
) -> Interval | None:
    if part is None:
        return None
    still = common_stretches([(part,), rests], shortest_s)
    return max(still, key=lambda stretch: stretch.duration_s, default=None)


def _one_sided(
    before: list[Interval],
    after: list[Interval],
    postures: Mapping[Interval, FloatArray],
    start: Start,
    run: Interval,
) -> Standing:
    """Standing on one side of the run only, or on neither."""
    if start in ("blocks", "three-point", "crouch"):
        # With nothing to compare, a hold that lasts until the start is the set position.
        before = [part for part in before if part.end_s < run.start_s - _AT_THE_START_S]
        before = before[:1] if len(before) > 1 and _postures_vary(before, postures) else before
    # Of equally long ones the nearest to the run.
    longest_after = max(after, key=lambda part: round(part.duration_s, 1), default=None)
    longest = max(before[::-1], key=lambda part: round(part.duration_s, 1), default=None)
    if longest is None:
        name = "no_standing" if longest_after is None else "no_standing_before"
        return Standing(None, longest_after, (RaisedFlag(name),))
    return Standing(longest, None, (RaisedFlag("no_standing_after"),), longest_after)


def _postures_vary(parts: list[Interval], postures: Mapping[Interval, FloatArray]) -> bool:
    return max(_differ_deg(postures[parts[0]], postures[p]) for p in parts) > _SAME_POSTURE_DEG


def _posture(timebased: TimeBased, part: Interval) -> FloatArray:
    """Direction of gravity in each leg sensor, shape (sites, 3)."""
    inside = (timebased.time_s >= part.start_s) & (timebased.time_s <= part.end_s)
    sites = timebased.sites
    legs = [signals for site, signals in sites.items() if site != "pelvis"] or list(sites.values())
    mean = np.array([np.nanmean(signals.accel_mps2[inside], axis=0) for signals in legs])
    return np.asarray(mean / np.linalg.norm(mean, axis=1, keepdims=True))


def _same_posture(a: FloatArray, b: FloatArray) -> bool:
    """Whether gravity is alike in all sensors; of four and more one may have slipped."""
    away = _differences_deg(a, b) >= _SAME_POSTURE_DEG
    return int(away.sum()) <= (1 if len(away) >= _ENOUGH_SENSORS else 0)


def _differ_deg(a: FloatArray, b: FloatArray) -> float:
    """Largest angle between the directions of gravity of two postures, in deg."""
    return float(_differences_deg(a, b).max())


def _differences_deg(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.degrees(np.arccos(np.clip((a * b).sum(axis=1), -1.0, 1.0))))


def _differ_flags(
    before: Interval,
    after: Interval,
    postures: Mapping[Interval, FloatArray],
    sites: Sequence[Site],
) -> list[RaisedFlag]:
    differ = _differences_deg(postures[before], postures[after])
    return [
        RaisedFlag("standing_differs", {"by_deg": float(deg)}, site)
        for site, deg in zip(sites, differ, strict=True)
        if deg > _STANDING_DIFFERS_DEG
    ]
