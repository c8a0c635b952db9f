"""Touchdown from the motion of the foot: the arrest of its heel, or of the outer edge of its ball.

A force under a point of the foot shows first and most in the upward acceleration of that point.
When the foot comes in clearly toe up the heel strikes first; else it is the outer edge of the ball.
The pitch of the foot blends from one to the other; where neither is sure (a foot that lands nearly
flat strikes in between) their distance says how uncertain the blend is.

The ball is sought forward from the swing. Its fall may be stopped in more than one go: a leg that
lands slowly has braked it before, and a heel that sinks afterwards presses it down once more. Every
go is kept as a candidate with its own instant and hardness, all of them relative to the foot's own
fall, so that a foot that comes down with 0.2 m/s is read like one that comes down with 3.

Contact is half a stop before the ball's fall is half stopped. For a sole that gives like a spring
that time does not depend on how fast the foot comes down: 6 ms in running at 2.5 to 6.6 m/s, by
data set 5.9 to 8.1 ms after force passes 20 N (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298, with
the lag of its markers taken off, and Goncalves et al. 2021, J Sci Med Sport 24:939; a third one
reads -0.7 ms, which no force can do: its markers lead its force).
"""

from dataclasses import dataclass
from math import tanh

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.crossings import crossing_times
from imuproc.dsp.peaks import find_peaks
from imuproc.events.foot_points import FootPoints

FloatArray = NDArray[np.float64]

MOST_CANDIDATES = 3

_SWING_S = 0.07
_STANCE_SHARE = 0.4
_FLAT_AFTER_S = 0.03


@dataclass(frozen=True)
class LandingSettings:
    """Which point strikes first, and how long after contact its mark comes.

    Parameters
    ----------
    heel_pitch_deg, heel_blend_deg : float
        Foot pitch above which the heel strikes first, and how gradually.
    heel_clearance_m : float
        Height of a heel over its lowest place in the stance above which it did not strike first.
    heel_near_m, level_pitch_deg : float
        A heel that has come as near to its lowest place as this, while the foot points up by more
        than that, may have landed so softly that nothing shows it.
    heel_lag_s : float
        From heel contact to the peak of its upward acceleration. By the treadmill's force that is
        -4.8, -2.5 and -2.4 ms at 2.5, 3.5 and 4.5 m/s; a force cannot come after what it does, so
        half of that is taken.
    least_hardness, least_share : float
        A stop of the ball counts where its peak acceleration is at least this share of the
        hardest, and where it takes away at least this share of the largest fall.
    stopped_share : float
        Share of the ball's fall that is gone at its mark. A foot that is brought down softly is
        slowed by its own muscles before the ground does the rest.
    ball_lag_s : float
        From contact to that mark.
    stop_share : float
        Part of what the arrest lasts longer than ``usual_stop_s`` that adds to it: what is soft
        gives later (half way between nothing and a stop that only takes longer; the data stay
        below).
    usual_stop_s : float
    """

    heel_pitch_deg: float = 7.0
    heel_blend_deg: float = 1.8
    heel_clearance_m: float = 0.02
    heel_near_m: float = 0.008
    level_pitch_deg: float = 3.0
    heel_lag_s: float = -0.0015
    least_hardness: float = 0.35
    least_share: float = 0.2
    stopped_share: float = 0.65
    ball_lag_s: float = 0.0076
    stop_share: float = 0.6
    usual_stop_s: float = 0.018


@dataclass(frozen=True)
class Landing:
    """One landing as the foot's motion has it; NaN where it is not seen.

    Parameters
    ----------
    ball_s : tuple of float
        Contact by each stop of the ball, in order, as many as there are (at most
        :data:`MOST_CANDIDATES`).
    hardness : tuple of float
        Peak upward acceleration of each, as a share of the hardest.
    fall_mps : tuple of float
        Fall that each takes away.
    stop_s : tuple of float
        How long each takes: fall over peak deceleration.
    heel_s : float
        Contact by the heel.
    heel_weight : float
        1 heel first, 0 ball first.
    heel_down_s : float
        When the heel came near the ground, toe up, before the ball did; NaN where it did not.
    """

    ball_s: tuple[float, ...] = ()
    hardness: tuple[float, ...] = ()
    fall_mps: tuple[float, ...] = ()
    stop_s: tuple[float, ...] = ()
    heel_s: float = np.nan
    heel_weight: float = 0.0
    heel_down_s: float = np.nan


def landing_of(
    points: FootPoints, coarse_s: float, toe_off_s: float, settings: LandingSettings
) -> Landing:
    """Landing of the foot in one contact.

    Parameters
    ----------
    points : FootPoints
    coarse_s, toe_off_s : float
        About where the contact begins and ends, in s.
    settings : LandingSettings

    Returns
    -------
    Landing
    """
    low, middle = np.searchsorted(
        points.time_s, [coarse_s - _SWING_S, coarse_s + _STANCE_SHARE * (toe_off_s - coarse_s)]
    )
    stops = _stops(points, int(low), int(middle), settings)
    if not stops:
        return Landing()
    half_s, hardness, fall, stop_s = zip(*stops, strict=True)
    late = [settings.stop_share * max(0.0, s - settings.usual_stop_s) for s in stop_s]
    ball_s = tuple(
        half - settings.ball_lag_s - later for half, later in zip(half_s, late, strict=True)
    )
    main = int(np.argmax(hardness))
    mark_s = _heel_mark(points, half_s[main], fall[main])
    weight = 0.0 if np.isnan(mark_s) else _heel_weight(points, mark_s, half_s[main], settings)
    return Landing(
        ball_s,
        hardness,
        fall,
        stop_s,
        mark_s - settings.heel_lag_s,
        0.0 if weight < 0.01 else weight,
        _heel_down_s(points, half_s[main], settings),
    )


def _heel_down_s(points: FootPoints, half_s: float, settings: LandingSettings) -> float:
    """When the heel came near the ground with the toe up; NaN where the foot was level by then."""
    low, half, high = np.searchsorted(
        points.time_s, [half_s - _SWING_S, half_s, half_s + _FLAT_AFTER_S]
    )
    fallen_m = np.cumsum(points.heel_mps[low:high]) / points.rate_hz
    if half <= low:
        return float("nan")
    above = np.flatnonzero(fallen_m[: half - low] - fallen_m.min() > settings.heel_near_m)
    near = low + (int(above[-1]) + 1 if len(above) else 0)
    if near >= half:
        return float("nan")
    toe_up = points.pitch_rad[near] > np.radians(settings.level_pitch_deg)
    return float(points.time_s[near]) if toe_up else float("nan")


def _stops(
    points: FootPoints, low: int, middle: int, settings: LandingSettings
) -> list[tuple[float, float, float, float]]:
    """Stops of the ball's fall in order: half stop in s, hardness, fall in m/s, duration in s."""
    part = slice(low, middle)
    accel, speed, time_s = (
        x[part] for x in (points.ball_accel_mps2, points.ball_mps, points.time_s)
    )
    peaks = find_peaks(accel, 0.0)
    if len(accel) < 5 or len(peaks) == 0:
        return []
    hardest = float(accel[peaks].max())
    peaks = peaks[accel[peaks] >= settings.least_hardness * hardest]
    largest = -float(speed.min())
    found = []
    for peak in peaks:
        first, last = _span(accel, int(peak))
        fall = -float(speed[first])
        gone = float(speed[last] - speed[first])
        if min(gone, fall) < settings.least_share * largest:
            continue
        level = speed[first] + settings.stopped_share * min(gone, fall)
        half = crossing_times(time_s[first : last + 1], speed[first : last + 1], level, "rising")
        if len(half):
            top = float(accel[peak])
            found.append((float(half[0]), top / hardest, min(gone, fall), min(gone, fall) / top))
    return sorted(sorted(found, key=lambda stop: -stop[1])[:MOST_CANDIDATES])


def _span(accel: FloatArray, peak: int) -> tuple[int, int]:
    """From where to where a stop lasts: down to a quarter of its peak, or a dip between two."""
    low = accel < 0.25 * accel[peak]
    before, after = np.flatnonzero(low[:peak]), np.flatnonzero(low[peak:])
    first = int(before[-1]) if len(before) else 0
    last = peak + int(after[0]) if len(after) else len(accel) - 1
    return first, last


def _heel_weight(
    points: FootPoints, mark_s: float, half_s: float, settings: LandingSettings
) -> float:
    """How surely the heel struck first: toe up at its mark, and the heel near the ground there."""
    pitch = float(np.interp(mark_s, points.time_s, points.pitch_rad))
    steepness = np.radians(settings.heel_blend_deg)
    toe_up = _logistic((pitch - np.radians(settings.heel_pitch_deg)) / steepness)
    low, high = np.searchsorted(points.time_s, [mark_s, half_s + _FLAT_AFTER_S])
    sinks_m = -float(np.cumsum(points.heel_mps[low:high]).min(initial=0.0)) / points.rate_hz
    near = _logistic((settings.heel_clearance_m - sinks_m) / (0.2 * settings.heel_clearance_m))
    return toe_up * near


def _logistic(x: float) -> float:
    """From 0 to 1, one half at 0."""
    return 0.5 * (1.0 + tanh(0.5 * x))


def _heel_mark(points: FootPoints, half_s: float, fall_mps: float) -> float:
    """Peak of the heel's upward acceleration before the ball comes down, refined by a parabola.

    A foot that lands toe up needs the time in which its ball falls from the height that its pitch
    gives it; the mark is sought in half as much again. NaN where the acceleration only falls from
    the beginning on: that is still the swing, and the heel comes down after the ball.
    """
    pitch = float(np.interp(half_s - 0.04, points.time_s, points.pitch_rad))
    lead_s = 0.19 * max(np.sin(pitch), 0.0) / max(fall_mps, 0.5)
    reach_s = float(np.clip(1.5 * lead_s, 0.045, 0.09))
    low, high = np.searchsorted(points.time_s, [half_s - reach_s, half_s + 0.002])
    peak = int(low + np.argmax(points.heel_accel_mps2[low : max(high, low + 1)]))
    if peak == low:
        return float("nan")
    if not 0 < peak < len(points.time_s) - 1:
        return float(points.time_s[peak])
    left, top, right = points.heel_accel_mps2[peak - 1 : peak + 2]
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float(points.time_s[peak] + np.clip(shift, -0.5, 0.5) / points.rate_hz)
