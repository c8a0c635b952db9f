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

from imuproc.dsp.crossings import find_crossings
from imuproc.dsp.peaks import find_peaks
from imuproc.events.foot_points import FORCE_PLATES, FootPoints
from imuproc.files.settings_model import StageSettings, number, span

FloatArray = NDArray[np.float64]

MOST_CANDIDATES = 3
"""Stops of the ball that are kept: as many as the evidence has columns for."""


class LandingSettings(StageSettings):
    """Which point of the foot strikes first, and how long after contact its mark comes."""

    basis = FORCE_PLATES
    heel_pitch_deg: float = number(
        7.0, (-30.0, 60.0), "Foot pitch above which the heel strikes first."
    )
    heel_blend_deg: float = number(1.8, (0.01, 30.0), "How gradually it does.")
    heel_clearance_m: float = number(
        0.02,
        (0.001, 0.2),
        "Height of a heel over its lowest place in the stance above which it did not strike first.",
    )
    heel_clear_blend_share: float = number(
        0.2, (0.01, 5.0), "How gradually, as a share of that height."
    )
    heel_near_m: float = number(
        0.008,
        (0.0, 0.2),
        "A heel that has come as near to its lowest place as this, toe up, may have landed so "
        "softly that nothing shows it.",
    )
    level_pitch_deg: float = number(
        3.0, (-30.0, 60.0), "Foot pitch above which the toe is up for that."
    )
    heel_lag_s: float = number(
        -0.0015,
        (-0.05, 0.05),
        "From heel contact to the peak of its upward acceleration.",
        "by the treadmill's force -4.8, -2.5 and -2.4 ms at 2.5, 3.5 and 4.5 m/s; a force cannot "
        "come after what it does, so half of that is taken",
    )
    heel_from_ball_m: float = number(
        0.19,
        (0.05, 0.5),
        "Distance from heel to ball that tells how long before the ball a heel comes down.",
        "dimensions of feet, from memory",
    )
    heel_pitch_before_s: float = number(
        0.04, (0.0, 0.2), "So long before the ball is half stopped the pitch for that is read."
    )
    heel_least_fall_mps: float = number(
        0.5, (0.01, 5.0), "The ball is taken to fall at least so fast for that."
    )
    heel_reach_ratio: float = number(
        1.5, (0.1, 10.0), "The heel's mark is sought in so many times that time."
    )
    heel_reach_s: tuple[float, float] = span(
        (0.045, 0.09), (0.0, 0.5), "But in no less and no more than this."
    )
    heel_until_s: float = number(
        0.002, (-0.05, 0.1), "And until so long after the ball is half stopped."
    )
    swing_s: float = number(
        0.07, (0.01, 0.5), "Stops of the ball are sought from so long before the coarse touchdown."
    )
    stance_share: float = number(
        0.4, (0.05, 1.0), "And until this share of the contact has passed."
    )
    flat_after_s: float = number(
        0.03, (0.0, 0.3), "By so long after the ball is half stopped the heel is down, too."
    )
    least_hardness: float = number(
        0.35,
        (0.0, 1.0),
        "A stop of the ball counts where its peak acceleration is at least this share of the "
        "hardest.",
        unit="",
    )
    least_share: float = number(
        0.2, (0.0, 1.0), "And where it takes away at least this share of the largest fall."
    )
    stop_ends_share: float = number(
        0.25, (0.01, 0.99), "A stop lasts down to this share of its peak acceleration."
    )
    stopped_share: float = number(
        0.65,
        (0.05, 0.95),
        "Share of the ball's fall that is gone at its mark. A foot that is brought down softly is "
        "slowed by its own muscles before the ground does the rest.",
    )
    ball_lag_s: float = number(0.0076, (-0.05, 0.05), "From contact to that mark.")
    stop_share: float = number(
        0.6,
        (0.0, 2.0),
        "Part of what the arrest lasts longer than usual_stop_s that adds to it: what is soft "
        "gives later.",
        "half way between nothing and a stop that only takes longer; the data stay below",
    )
    usual_stop_s: float = number(0.018, (0.001, 0.2), "How long a usual arrest of the ball lasts.")


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


def find_landing(
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
    until_s = coarse_s + settings.stance_share * (toe_off_s - coarse_s)
    low, middle = np.searchsorted(points.time_s, [coarse_s - settings.swing_s, until_s])
    stops = _find_stops(points, int(low), int(middle), settings)
    if not stops:
        return Landing()
    half_s, hardness, fall, stop_s = zip(*stops, strict=True)
    late = [settings.stop_share * max(0.0, s - settings.usual_stop_s) for s in stop_s]
    ball_s = tuple(
        half - settings.ball_lag_s - later for half, later in zip(half_s, late, strict=True)
    )
    main = int(np.argmax(hardness))
    mark_s = _find_heel_mark(points, half_s[main], fall[main], settings)
    weight = 0.0 if np.isnan(mark_s) else _weigh_heel(points, mark_s, half_s[main], settings)
    return Landing(
        ball_s,
        hardness,
        fall,
        stop_s,
        mark_s - settings.heel_lag_s,
        0.0 if weight < 0.01 else weight,
        _find_heel_down_s(points, half_s[main], settings),
    )


def _find_heel_down_s(points: FootPoints, half_s: float, settings: LandingSettings) -> float:
    """When the heel came near the ground with the toe up; NaN where the foot was level by then."""
    low, half, high = np.searchsorted(
        points.time_s, [half_s - settings.swing_s, half_s, half_s + settings.flat_after_s]
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


def _find_stops(
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
        first, last = _find_stop_span(accel, int(peak), settings.stop_ends_share)
        fall = -float(speed[first])
        gone = float(speed[last] - speed[first])
        if min(gone, fall) < settings.least_share * largest:
            continue
        level = speed[first] + settings.stopped_share * min(gone, fall)
        half = find_crossings(time_s[first : last + 1], speed[first : last + 1], level, "rising")
        if len(half):
            top = float(accel[peak])
            found.append((float(half[0]), top / hardest, min(gone, fall), min(gone, fall) / top))
    return sorted(sorted(found, key=lambda stop: -stop[1])[:MOST_CANDIDATES])


def _find_stop_span(accel: FloatArray, peak: int, share: float) -> tuple[int, int]:
    """From where to where a stop lasts: down to a share of its peak, or a dip between two."""
    low = accel < share * accel[peak]
    before, after = np.flatnonzero(low[:peak]), np.flatnonzero(low[peak:])
    first = int(before[-1]) if len(before) else 0
    last = peak + int(after[0]) if len(after) else len(accel) - 1
    return first, last


def _weigh_heel(
    points: FootPoints, mark_s: float, half_s: float, settings: LandingSettings
) -> float:
    """How surely the heel struck first: toe up at its mark, and the heel near the ground there."""
    pitch = float(np.interp(mark_s, points.time_s, points.pitch_rad))
    steepness = np.radians(settings.heel_blend_deg)
    toe_up = _rise_logistic((pitch - np.radians(settings.heel_pitch_deg)) / steepness)
    low, high = np.searchsorted(points.time_s, [mark_s, half_s + settings.flat_after_s])
    sinks_m = -float(np.cumsum(points.heel_mps[low:high]).min(initial=0.0)) / points.rate_hz
    blend_m = settings.heel_clear_blend_share * settings.heel_clearance_m
    return toe_up * _rise_logistic((settings.heel_clearance_m - sinks_m) / blend_m)


def _rise_logistic(x: float) -> float:
    """From 0 to 1, one half at 0."""
    return 0.5 * (1.0 + tanh(0.5 * x))


def _find_heel_mark(
    points: FootPoints, half_s: float, fall_mps: float, settings: LandingSettings
) -> float:
    """Peak of the heel's upward acceleration before the ball comes down, refined by a parabola.

    A foot that lands toe up needs the time in which its ball falls from the height that its pitch
    gives it; the mark is sought in somewhat more. NaN where the acceleration only falls from
    the beginning on: that is still the swing, and the heel comes down after the ball.
    """
    before_s = half_s - settings.heel_pitch_before_s
    pitch = float(np.interp(before_s, points.time_s, points.pitch_rad))
    height_m = settings.heel_from_ball_m * max(np.sin(pitch), 0.0)
    lead_s = height_m / max(fall_mps, settings.heel_least_fall_mps)
    reach_s = float(np.clip(settings.heel_reach_ratio * lead_s, *settings.heel_reach_s))
    ends_s = [half_s - reach_s, half_s + settings.heel_until_s]
    low, high = np.searchsorted(points.time_s, ends_s)
    peak = int(low + np.argmax(points.heel_accel_mps2[low : max(high, low + 1)]))
    if peak == low:
        return float("nan")
    if not 0 < peak < len(points.time_s) - 1:
        return float(points.time_s[peak])
    left, top, right = points.heel_accel_mps2[peak - 1 : peak + 2]
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float(points.time_s[peak] + np.clip(shift, -0.5, 0.5) / points.rate_hz)
