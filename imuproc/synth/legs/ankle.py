"""Foot pitch of one leg: stated in stance, and by the ankle's dorsiflexion in swing."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from imuproc.synth.course import Course
from imuproc.synth.legs.angles import (
    Knots,
    Ready,
    add_departure,
    add_ending,
    add_ready,
    blend_shapes,
)
from imuproc.synth.stances import Posture, Stance

FloatArray = NDArray[np.float64]

_FALL_AT: Final = np.array((0.45, 0.55, 0.65, 0.75, 0.85, 0.93, 1.0))
_FALL_TOP: Final = (0.04, 0.12, 0.25, 0.43, 0.65, 0.84, 1.0)
_FALL_FIRST: Final = (0.10, 0.19, 0.31, 0.46, 0.64, 0.82, 1.0)
_SWING_AT: Final = np.array(
    (0.03, 0.06, 0.10, 0.15, 0.20, 0.26, 0.32, 0.38, 0.45, 0.52, 0.59, 0.66, 0.73, 0.80, 0.86)
)


def compute_heel_lead_s(posture: Posture) -> float:
    """How long the heel is on the ground before the forefoot, in s; 0 if the ball strikes first."""
    if posture.pitch_touchdown_deg <= 0.0:
        return 0.0
    return max(0.022, posture.heel_first_s * min(1.3, posture.pitch_touchdown_deg / 13.0))


def find_lowest_pitch_deg(stance: Stance) -> float:
    """Foot pitch once the heel is as low as it gets."""
    p, sink_deg = stance.posture, stance.ground.sink_deg
    if sink_deg is None or compute_heel_lead_s(p) > 0.0:
        return p.pitch_flat_deg
    # A heel cannot sink below the ground.
    return min(p.pitch_touchdown_deg + sink_deg, max(p.pitch_flat_deg, 0.0))


def _add_stance_pitch(knots: Knots, stance: Stance) -> None:
    p = stance.posture
    contact_s = stance.toe_off_s - stance.touchdown_s
    lead_s = compute_heel_lead_s(p)
    flat_deg = find_lowest_pitch_deg(stance)
    sink_s = stance.ground.sink_s
    knots.add_knot(stance.touchdown_s, p.pitch_touchdown_deg)
    if lead_s > 0.0:
        for share, left in ((0.25, 0.84), (0.5, 0.54), (0.75, 0.27), (1.0, 0.10), (1.3, 0.03)):
            value = flat_deg + left * (p.pitch_touchdown_deg - flat_deg)
            knots.add_knot(stance.touchdown_s + share * lead_s, value)
    else:
        span = flat_deg - p.pitch_touchdown_deg
        for lag, share in ((0.21, -0.04), (0.43, 0.22), (0.71, 0.66), (1.0, 0.93)):
            knots.add_knot(stance.touchdown_s + lag * sink_s, p.pitch_touchdown_deg + share * span)
    knots.add_knot(stance.touchdown_s + max(0.33 * contact_s, 1.25 * sink_s), flat_deg)
    span = p.pitch_toe_off_deg - flat_deg
    for s, share in zip(_FALL_AT, blend_shapes(p.upright, _FALL_FIRST, _FALL_TOP), strict=True):
        knots.add_knot(stance.touchdown_s + s * contact_s, flat_deg + share * span)


def _compute_leaving_rate_dps(stance: Stance) -> float:
    """Rate of foot pitch at toe-off in deg/s, as the stance's own knots have it."""
    p = stance.posture
    shape = blend_shapes(p.upright, _FALL_FIRST, _FALL_TOP)
    start = find_lowest_pitch_deg(stance)
    if not np.isfinite(stance.touchdown_s):
        return -600.0
    late_s = float(_FALL_AT[-1] - _FALL_AT[-3]) * (stance.toe_off_s - stance.touchdown_s)
    return float((shape[-1] - shape[-3]) * (p.pitch_toe_off_deg - start) / late_s)


def _add_swing_pitch(
    knots: Knots, before: Stance, after: Stance, shin_at: tuple[FloatArray, FloatArray]
) -> None:
    """Pitch from dorsiflexion: the foot points down at first, then is drawn up and held."""
    p = after.posture
    swing_s = after.touchdown_s - before.toe_off_s
    leaves = before.posture.pitch_toe_off_deg + 90.0 - before.posture.shin_toe_off_deg
    lands = p.pitch_touchdown_deg + 90.0 - p.shin_touchdown_deg
    level = p.dorsiflexion_swing_deg
    shin_rate = float(np.diff(np.interp((before.toe_off_s, before.toe_off_s + 0.004), *shin_at))[0])
    rate = _compute_leaving_rate_dps(before) - shin_rate / 0.004
    drop = max(-14.0, 0.45 * 0.09 * swing_s * min(rate, 0.0))
    at = (0.0, 0.03, 0.06, 0.09, 0.22, 0.38, 0.51, 0.64, 0.73, 0.82, 0.92, 1.0)
    bend = (
        leaves,
        leaves + 0.55 * drop,
        leaves + 0.87 * drop,
        leaves + drop,
        leaves + 0.12 * (level - leaves),
        leaves + 0.68 * (level - leaves),
        level - 1.5,
        level,
        level + 0.16 * (lands - level),
        level + 0.50 * (lands - level),
        level + 0.84 * (lands - level),
        lands,
    )
    shape = PchipInterpolator(at, bend)
    for w in (*_SWING_AT, 1.0 - 0.012 / swing_s):
        t = before.toe_off_s + w * swing_s
        knots.add_knot(t, float(shape(w)) - 90.0 + float(np.interp(t, *shin_at)))


def make_pitch_curve(
    course: Course, stances: Sequence[Stance], ready: Ready, shin_deg: FloatArray
) -> FloatArray:
    """Foot pitch of one leg in deg on the course's clock.

    Parameters
    ----------
    course : Course
    stances : sequence of Stance
        Of this foot, in order, the standing ones included.
    ready : Ready
    shin_deg : ndarray, shape (n,)
        Shin angle of the same leg.

    Returns
    -------
    ndarray, shape (n,)
    """
    knots = Knots()
    first, shin_at = stances[0], (course.time_s, shin_deg)
    add_ready(knots, course, (0.0, ready.pitch_marks_deg, ready.pitch_set_deg), -20.0)
    start = ready.pitch_set_deg if knots.time_s[-1] > course.marks_s + 0.2 else 0.0
    add_departure(knots, course.go_s, first.toe_off_s, start, first.posture.pitch_toe_off_deg)
    for before, after in pairwise(stances):
        _add_swing_pitch(knots, before, after, shin_at)
        if np.isfinite(after.toe_off_s):
            _add_stance_pitch(knots, after)
        else:
            down = after.posture.pitch_touchdown_deg
            knots.add_knot(after.touchdown_s, down)
            add_ending(knots, after, down, ready.pitch_end_deg, float(course.time_s[-1]))
    return knots.make_curve(course.time_s)
