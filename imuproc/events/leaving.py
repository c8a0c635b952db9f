"""Toe-off from the motion of the foot: how it rolls off over the toes, and when they are gone.

The ball of the foot leaves the ground before the force ends, because the foot rolls off over the
toes; no point of a sensor's rigid foot is at rest until the last instant. What can be followed is
the line of the sole at the toes. While they press, the foot turns about points that wander forward
along its sole; the point about which it turns late in contact, found from that foot's own contacts,
tells how far ahead of the ball the sole presses in that athlete and shoe. A point ahead of it by
half as much again and 2 cm rises through a share of the running speed some 9 ms before the force
ends (20 N), at 2.5 to 6.6 m/s alike: by data set -7.8 to -9.4 ms on a treadmill, with the lag of
its markers taken off, and -6.5 to -12.3 ms overground.

Why that should carry over to a sprint: the toes are a short link between ground and ball. They can
press no longer than it takes the ball, which moves with the leg, to stretch that link, so a mark of
that motion leads the end of force by a time that is a length (of toes and sole) over a speed (of
the ball), and the share of running speed makes the mark move with the speed. Speeds above 6.6 m/s
are not covered by data here: their doubt is stated apart.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.motion import SegmentMotion
from imuproc.dsp.crossings import find_crossings
from imuproc.dsp.rotations import cross, quat_rotate
from imuproc.events.foot_points import FORCE_PLATES, FootPoints
from imuproc.files.settings_model import JUDGEMENT, StageSettings, number, span

FloatArray = NDArray[np.float64]

_AHEAD = np.array([1.0, 0.0, 0.0])
_UP = np.array([0.0, 0.0, 1.0])


class LeavingSettings(StageSettings):
    """How the foot's roll-off becomes toe-off."""

    basis = FORCE_PLATES
    roll_from: float = number(
        0.7,
        (0.0, 1.0),
        "Share of a contact from which on the foot's late centre of rotation is sought.",
        unit="",
    )
    roll_to: float = number(0.9, (0.0, 1.0), "Share until which it is sought.", unit="")
    least_roll_m: float = number(
        0.0, (-0.1, 0.2), "How far ahead of the ball's pivot it lies at least."
    )
    most_roll_m: float = number(0.06, (-0.1, 0.3), "And at most.")
    longest_contact_s: float = number(
        0.5, (0.1, 5.0), "Longer contacts tell nothing of it.", JUDGEMENT
    )
    toe_per_roll: float = number(
        1.5,
        (0.0, 5.0),
        "The toes' line lies ahead of the pivot by that many times the centre's distance.",
        unit="",
    )
    toe_ahead_m: float = number(0.02, (-0.1, 0.2), "And by this much more.")
    toe_up_m: float = number(0.008, (-0.1, 0.2), "And so far above it.")
    toe_speed_share: float = number(
        0.12, (0.01, 1.0), "Its upward speed that is sought, as a share of running speed."
    )
    toe_lag_s: float = number(0.011, (-0.05, 0.05), "From there to the end of force.")
    lift_m: float = number(
        0.02, (0.001, 0.2), "Rise of the ball off its resting place that is sought."
    )
    lift_lag_s: float = number(0.008, (-0.05, 0.05), "From there to the end of force.")
    rest_share: tuple[float, float] = span(
        (0.3, 0.5), (0.0, 1.0), "Part of the contact in which the ball is at that place."
    )
    search_from_share: float = number(
        0.4, (0.0, 1.0), "Toe-off is sought from this share of the contact on."
    )
    search_after_s: float = number(0.1, (0.0, 0.5), "And until so long after the coarse toe-off.")

    ordered = (("roll_from", "roll_to"), ("least_roll_m", "most_roll_m"))


@dataclass(frozen=True)
class Leaving:
    """Toe-off by the marks of one contact; NaN where a mark is not seen.

    Parameters
    ----------
    toe_s : float
        By the rise of the toes.
    toe_growth_mps2 : float
        Growth of their upward speed there.
    lift_s : float
        By the lift of the ball.
    lift_mps : float
        Upward speed of the ball there.
    """

    toe_s: float = np.nan
    toe_growth_mps2: float = np.nan
    lift_s: float = np.nan
    lift_mps: float = np.nan


def measure_roll_ahead_m(
    time_s: FloatArray, foot: SegmentMotion, spans_s: FloatArray, settings: LeavingSettings
) -> float:
    """How far ahead of the pivot of the ball a foot turns late in contact, in m.

    Least squares of velocity(r) = velocity(sensor) + omega x r = 0 over late contact, forward and
    up (instant centre of rotation, by all contacts of the foot).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    foot : SegmentMotion
    spans_s : ndarray, shape (k, 2)
        Touchdown and toe-off of the foot's contacts, about.
    settings : LeavingSettings

    Returns
    -------
    float
        Within what the settings allow; NaN without a contact.
    """
    short = spans_s[(spans_s[:, 1] - spans_s[:, 0]) < settings.longest_contact_s]
    share = np.array([settings.roll_from, settings.roll_to])
    ends = np.searchsorted(time_s, short[:, :1] + share * (short[:, 1:] - short[:, :1]))
    rows = np.concatenate([np.arange(a, b) for a, b in ends]) if len(ends) else np.empty(0, int)
    if len(rows) < 4:
        return float("nan")
    turn, quat = foot.rate_world_radps[rows], foot.quat_wxyz[rows]
    per_m = [cross(turn, quat_rotate(quat, axis))[:, [0, 2]].ravel() for axis in (_AHEAD, _UP)]
    design = np.stack(per_m, axis=1)
    found, *_ = np.linalg.lstsq(design, -foot.velocity_mps[rows][:, [0, 2]].ravel(), rcond=None)
    ahead = float(found[0] - foot.lever_m[0])
    return float(np.clip(ahead, settings.least_roll_m, settings.most_roll_m))


def find_leaving(
    points: FootPoints,
    touchdown_s: float,
    coarse_s: float,
    speed_mps: float,
    settings: LeavingSettings,
) -> Leaving:
    """Marks of one toe-off.

    Parameters
    ----------
    points : FootPoints
        Their toe is the foot's own line of the toes.
    touchdown_s, coarse_s : float
        Touchdown, and about when the contact ends.
    speed_mps : float
        Running speed; NaN where it is not known.
    settings : LeavingSettings

    Returns
    -------
    Leaving
    """
    contact_s = coarse_s - touchdown_s
    low, high, rest_from, rest_to = np.searchsorted(
        points.time_s,
        [
            touchdown_s + settings.search_from_share * contact_s,
            coarse_s + settings.search_after_s,
            *(touchdown_s + np.array(settings.rest_share) * contact_s),
        ],
    )
    if high - low < 4:
        return Leaving()
    toe = (np.nan, np.nan)
    if np.isfinite(speed_mps):
        toe = _find_toe_rise(points, int(low), int(high), settings.toe_speed_share * speed_mps)
    lift = _find_lift(points, int(rest_from), (int(rest_to), int(high)), settings.lift_m)
    return Leaving(toe[0] + settings.toe_lag_s, toe[1], lift[0] + settings.lift_lag_s, lift[1])


def _find_toe_rise(
    points: FootPoints, low: int, high: int, level_mps: float
) -> tuple[float, float]:
    """When the toes rise at a speed, in s, and how fast that speed grows about there, in m/s2.

    Sought from where the line of the sole points most into the ground, just before it leaves.
    """
    fastest = low + int(np.argmax(points.toe_mps[low:high]))
    deepest = low + int(np.argmin(points.toe_mps[low : fastest + 1]))
    early = slice(deepest, fastest + 1)
    times, speed = points.time_s[early], points.toe_mps[early]
    found = [find_crossings(times, speed, level_mps * k, "rising") for k in (0.5, 1.0, 1.5)]
    if not len(found[1]):
        return np.nan, np.nan
    before = found[0][0] if len(found[0]) else times[0]
    after = found[2][0] if len(found[2]) else times[-1]
    growth = level_mps / max(float(after - before), 1.0 / points.rate_hz)
    return float(found[1][0]), growth


def _find_lift(
    points: FootPoints, rest_from: int, span: tuple[int, int], lift_m: float
) -> tuple[float, float]:
    """When the ball has risen off its resting place, in s, and how fast it rises there, in m/s."""
    rest_to, high = span
    if rest_to - rest_from < 1:
        return np.nan, np.nan
    height = np.cumsum(points.pivot_mps[rest_from:high]) / points.rate_hz
    level = float(height[: rest_to - rest_from].mean()) + lift_m
    later = slice(rest_to - rest_from, None)
    times = points.time_s[rest_from:high][later]
    found = find_crossings(times, height[later], level, "rising")
    if not len(found):
        return np.nan, np.nan
    return float(found[0]), float(np.interp(found[0], points.time_s, points.pivot_mps))
