"""Touchdown from the arrest of the foot: of its heel, or of the outer edge of its ball.

When the foot comes in clearly toe up the heel strikes first, and its upward acceleration peaks just
after; else it is the outer edge of the ball, whose fall has stopped by half a fixed share of the
arrest's own duration after contact. The pitch of the foot blends from one to the other; where
neither is sure (a foot that lands nearly flat strikes in between) their distance says how
uncertain the blend is.

The arrest's duration is read from fall over peak deceleration. Smoothing and coarse sampling
lengthen it: at 100 Hz a foot stopped in 8 ms seems to take 20. What shoe, skin and arch give way is
about 1 cm whatever the speed (half of fall times duration: 13 mm in running at 2.5 to 4.5 m/s,
optical smoothing included; 10 mm in simulated sprints), so fall speed alone foretells the duration,
roughly; the two are averaged, each by how much it is worth.
"""

from dataclasses import dataclass
from math import tanh

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.crossings import crossing_times
from imuproc.events.foot_points import FootPoints

FloatArray = NDArray[np.float64]

_STILL_FALLING_MPS = 0.25
_FLAT_AFTER_S = 0.03
_LONGEST_ONSET_S = 0.015


@dataclass(frozen=True)
class ArrestSettings:
    """Which point strikes first and how long after contact its mark comes.

    Parameters
    ----------
    heel_pitch_deg, heel_blend_deg : float
        Foot pitch above which the heel strikes first, and how gradually.
    heel_clearance_m : float
        Height of a heel over its lowest place in the stance above which it did not strike first.
    heel_delay_s : float
        From heel contact to the peak of its upward acceleration.
    arrest_share : float
        From contact to half arrest of the ball, as a share of the arrest's duration.
    give_m : float
        Way in which the ground stops the ball.
    give_u_share : float
        Standard uncertainty of the duration foretold by it.
    """

    heel_pitch_deg: float = 7.0
    heel_blend_deg: float = 1.8
    heel_clearance_m: float = 0.02
    heel_delay_s: float = 0.0042
    arrest_share: float = 0.7
    give_m: float = 0.010
    give_u_share: float = 0.4


@dataclass(frozen=True)
class Arrest:
    """Touchdown by the arrest of the foot; NaN where it is not seen.

    Parameters
    ----------
    time_s : float
        Touchdown.
    fall_mps : float
        Fall of the ball before it.
    arrest_s : float
        How long the ball takes to stop.
    heel_weight : float
        1 heel first, 0 ball first.
    in_doubt_s : float
        Spread of touchdown that not knowing which point struck first leaves.
    """

    time_s: float = np.nan
    fall_mps: float = np.nan
    arrest_s: float = np.nan
    heel_weight: float = np.nan
    in_doubt_s: float = np.nan


def arrest_of(
    points: FootPoints, coarse_s: float, toe_off_s: float, settings: ArrestSettings
) -> Arrest:
    """Touchdown by the arrest of the foot in one contact.

    Parameters
    ----------
    points : FootPoints
    coarse_s, toe_off_s : float
        About where the contact begins and ends, in s.
    settings : ArrestSettings

    Returns
    -------
    Arrest
    """
    low, middle = np.searchsorted(
        points.time_s, [coarse_s - 0.07, coarse_s + 0.4 * (toe_off_s - coarse_s)]
    )
    found = _ball_arrest(points, int(low), int(middle))
    if found is None:
        return Arrest()
    half_s, fall, seen_s = found
    arrest_s = _likely_arrest_s(fall, seen_s, points.smear_s, settings)
    ball_s = half_s - settings.arrest_share * arrest_s
    mark_s = _heel_mark(points, half_s, fall)
    weight = 0.0 if np.isnan(mark_s) else _heel_weight(points, mark_s, half_s, settings)
    if weight < 0.01:
        return Arrest(ball_s, fall, arrest_s, 0.0, 0.0)
    heel_s = mark_s - settings.heel_delay_s
    in_doubt_s = float(np.sqrt(weight * (1.0 - weight))) * abs(heel_s - ball_s)
    return Arrest(weight * heel_s + (1.0 - weight) * ball_s, fall, arrest_s, weight, in_doubt_s)


def _likely_arrest_s(
    fall_mps: float, seen_s: float, smear_s: float, settings: ArrestSettings
) -> float:
    """Duration of the arrest from what is seen of it and from what the speed foretells."""
    foretold_s = 2.0 * settings.give_m / fall_mps
    foretold_u = settings.give_u_share * foretold_s
    # To first order, smoothing adds this much to the duration.
    seen_u = smear_s**2 / (2.0 * seen_s)
    share = foretold_u**2 / (foretold_u**2 + seen_u**2)
    return share * seen_s + (1.0 - share) * foretold_s


def _heel_weight(
    points: FootPoints, mark_s: float, half_s: float, settings: ArrestSettings
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


def _ball_arrest(points: FootPoints, low: int, middle: int) -> tuple[float, float, float] | None:
    """Half arrest of the ball in s, its fall before in m/s, and the arrest's duration in s.

    Sought backwards from mid-stance, where the ball rests, to the last time at which it still
    fell: what the leg does to the foot in the air is no arrest. The fall is that at the onset
    (where the acceleration reaches a quarter of its peak).
    """
    falling = np.flatnonzero(points.ball_mps[low:middle] < -_STILL_FALLING_MPS)
    if len(falling) == 0:
        return None
    landed = low + int(falling[-1])
    near = slice(max(low, landed - int(0.02 * points.rate_hz)), landed + 2)
    hardest = near.start + int(np.argmax(points.ball_accel_mps2[near]))
    peak = float(points.ball_accel_mps2[hardest])
    earliest = max(low, hardest - int(_LONGEST_ONSET_S * points.rate_hz))
    gentle = np.flatnonzero(points.ball_accel_mps2[earliest : hardest + 1] < 0.25 * peak)
    onset = earliest + int(gentle[-1]) if len(gentle) else earliest
    fall = -float(points.ball_mps[onset])
    later = min(hardest + int(0.03 * points.rate_hz) + 2, len(points.time_s))
    half_s = _first_rise(points.time_s[onset:later], points.ball_mps[onset:later], -0.5 * fall)
    if not (fall > 0.1 and np.isfinite(half_s) and peak > 0.0):
        return None
    return half_s, fall, fall / peak


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


def _first_rise(time_s: FloatArray, x: FloatArray, level: float) -> float:
    """First time at which a signal rises through a level; NaN if it does not."""
    times = crossing_times(time_s, x, level, "rising")
    return float(times[0]) if len(times) else float("nan")
