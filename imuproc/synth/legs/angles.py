"""Shin angle and foot pitch of one leg through a whole made-up run, from stated postures.

Knots in time are laid through stance and swing and joined by a cubic spline; the shapes between
the stated values follow open optical data of running (Fukuchi, Duarte & Duarte 2017, PeerJ
5:e3298) at 4.5 m/s, stretched towards sprinting. A short Gaussian kernel then bounds how sharp any
corner can be.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from imuproc.synth.course import Course
from imuproc.synth.plan import RunPlan
from imuproc.synth.stances import Stance

FloatArray = NDArray[np.float64]

_KERNEL_S: Final = 0.003

_STANCE: Final = np.linspace(0.0, 1.0, 11)
_SHIN_STANCE_TOP: Final = (0, 0.12, 0.25, 0.385, 0.515, 0.63, 0.735, 0.82, 0.885, 0.94, 1)
_SHIN_STANCE_FIRST: Final = (0, 0.01, 0.08, 0.18, 0.30, 0.43, 0.56, 0.68, 0.79, 0.89, 1)


class Knots:
    """Knots of one curve, to be joined by a smooth spline."""

    def __init__(self) -> None:
        self.time_s: list[float] = []
        self.value: list[float] = []

    def add_knot(self, time_s: float, value: float) -> None:
        """One knot; it is left out when it would crowd the one before."""
        if not self.time_s or time_s > self.time_s[-1] + 0.004:
            self.time_s.append(time_s)
            self.value.append(value)

    def add_plateau(self, start_s: float, end_s: float, value: float) -> None:
        """A steady stretch, with enough knots to keep the spline from swinging in it."""
        inner = np.arange(0.12, max(end_s - start_s - 0.06, 0.0), 0.12)
        edge = np.array([0.0, 0.03, 0.06])
        ends = edge if end_s - start_s > 0.2 else edge[:1]
        lags = np.concatenate((edge, inner, end_s - start_s - ends))
        for t in np.sort(start_s + lags):
            self.add_knot(float(t), value)

    def make_curve(self, time_s: FloatArray) -> FloatArray:
        """The curve on a regular clock."""
        spline = CubicSpline(self.time_s, self.value, bc_type="clamped")
        inside = np.clip(time_s, self.time_s[0], self.time_s[-1])
        rate_hz = 1.0 / (time_s[1] - time_s[0])
        return gaussian_filter1d(spline(inside), _KERNEL_S * rate_hz)


def blend_shapes(upright: float, first: Sequence[float], top: Sequence[float]) -> FloatArray:
    """A shape between that of step 1 and that of top speed."""
    return (1.0 - upright) * np.array(first) + upright * np.array(top)


def _add_shin_stance(knots: Knots, stance: Stance) -> None:
    p = stance.posture
    shape = blend_shapes(p.upright, _SHIN_STANCE_FIRST, _SHIN_STANCE_TOP)
    contact_s = stance.toe_off_s - stance.touchdown_s
    span = p.shin_toe_off_deg - p.shin_touchdown_deg
    knots.add_knot(stance.touchdown_s, p.shin_touchdown_deg)
    for s, share in zip(_STANCE[1:], shape[1:], strict=True):
        knots.add_knot(stance.touchdown_s + s * contact_s, p.shin_touchdown_deg + span * share)


_TURN_DEGPS2: Final = 13_500.0
"""How sharply the shin turns back before touchdown; about 12 000 in the optical data."""

_FALL_AT: Final = np.array((0.06, 0.12, 0.18, 0.25))
_FALL: Final = (0.17, 0.42, 0.66, 0.88)
_RISE_AT: Final = np.array((0.22, 0.42, 0.62, 0.82))
_RISE: Final = (0.075, 0.325, 0.675, 0.935)


def _add_shin_swing(knots: Knots, before: Stance, after: Stance) -> None:
    """Down to the lowest angle as the leg folds, up as it reaches out, and back before landing.

    Where the shin still rotates forward at touchdown (first steps) it only goes up.
    """
    p = after.posture
    swing_s = after.touchdown_s - before.toe_off_s
    start, lands = before.posture.shin_toe_off_deg, p.shin_touchdown_deg
    rate = p.shin_rate_touchdown_degps
    turn_s = min(-rate / _TURN_DEGPS2, 0.16 * swing_s) if rate < 0.0 else 0.0
    high = lands - 0.5 * rate * turn_s if rate < 0.0 else lands
    low, low_at = min(p.shin_swing_low_deg, start - 4.0), p.swing_low_at
    high_at = 1.0 - turn_s / swing_s
    for w, share in zip(_FALL_AT * low_at / 0.34, _FALL, strict=True):
        knots.add_knot(before.toe_off_s + w * swing_s, start + share * (low - start))
    knots.add_knot(before.toe_off_s + low_at * swing_s, low)
    for w, share in zip(_RISE_AT, _RISE, strict=True):
        at = low_at + w * (high_at - low_at)
        knots.add_knot(before.toe_off_s + at * swing_s, low + share * (high - low))
    if rate < 0.0:
        knots.add_knot(after.touchdown_s - turn_s, high)
        for share in (0.3, 0.6, 0.8):
            at = after.touchdown_s - (1.0 - share) * turn_s
            knots.add_knot(at, high + share**2 * (lands - high))


@dataclass(frozen=True)
class Ready:
    """Angles of one leg in the marks, in set, and in standing at the end, in deg."""

    shin_marks_deg: float
    pitch_marks_deg: float
    shin_set_deg: float
    pitch_set_deg: float
    shin_end_deg: float
    pitch_end_deg: float


_SET: Final = {
    ("blocks", "front"): (42.0, -50.0, 38.0, -52.0),
    ("blocks", "rear"): (16.0, -62.0, 27.0, -60.0),
    ("three-point", "front"): (50.0, -18.0, 44.0, -22.0),
    ("three-point", "rear"): (22.0, -56.0, 30.0, -54.0),
    ("crouch", "front"): (54.0, -12.0, 48.0, -17.0),
    ("crouch", "rear"): (28.0, -50.0, 35.0, -49.0),
    ("standing", "front"): (66.0, -4.0, 64.0, -5.0),
    ("standing", "rear"): (58.0, -28.0, 57.0, -29.0),
}
"""Shin and foot pitch in the marks, then in set, in deg (judgement)."""


def draw_ready_angles(plan: RunPlan, rear: bool, rng: np.random.Generator) -> Ready:
    """Angles of one leg before the start and after the stop, with the athlete's scatter."""
    base = _SET.get((plan.start, "rear" if rear else "front"), (90.0, 0.0, 90.0, 0.0))
    scatter = np.clip(rng.standard_normal(4), -2.0, 2.0) * np.array([2.0, 2.0, 1.5, 1.5])
    if plan.start == "rolling":
        scatter = np.zeros(4)
    values = np.array(base) + scatter
    end = plan.stand_change_deg * rng.choice([-1.0, 1.0]) * rng.uniform(0.6, 1.2)
    marks_shin, marks_pitch, set_shin, set_pitch = (float(v) for v in values)
    return Ready(marks_shin, marks_pitch, set_shin, set_pitch, 90.0 + float(end), 0.35 * float(end))


def _add_ramp(
    knots: Knots, start: tuple[float, float], end: tuple[float, float], lift: float
) -> None:
    """Slow move between two postures, with a swing by ``lift`` in its middle."""
    for w in np.linspace(0.0, 1.0, 9)[1:-1]:
        share = w * w * (3.0 - 2.0 * w)
        value = start[1] + share * (end[1] - start[1]) + lift * 16.0 * (w * (1.0 - w)) ** 2
        knots.add_knot(start[0] + w * (end[0] - start[0]), value)


def add_ready(
    knots: Knots, course: Course, values: tuple[float, float, float], lift: float
) -> None:
    """Standing, marks, set, until the first movement of the start."""
    stand, marks, in_set = values
    knots.add_plateau(0.0, course.marks_s, stand)
    if course.go_s - course.marks_s < 0.5:
        return
    sink_s = course.marks_s + 1.6
    _add_ramp(knots, (course.marks_s, stand), (sink_s - 0.1, marks), lift)
    if course.set_s > sink_s + 0.2:
        knots.add_plateau(sink_s - 0.1, sink_s, marks)
        _add_ramp(knots, (sink_s, marks), (course.set_s, in_set), 0.0)
    knots.add_plateau(course.set_s, course.go_s, in_set)


def add_departure(knots: Knots, start_s: float, end_s: float, start: float, end: float) -> None:
    """From rest to the posture at departure: slow first, then fast."""
    for s in (0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.9, 1.0):
        share = 0.35 * s**2 + 0.65 * s**3.2
        knots.add_knot(start_s + s * (end_s - start_s), start + share * (end - start))


def add_ending(knots: Knots, stance: Stance, start: float, end: float, until_s: float) -> None:
    """From the last touchdown to quiet standing."""
    for s in (0.04, 0.09, 0.16, 0.24, 0.34, 0.46, 0.6):
        knots.add_knot(
            stance.touchdown_s + s, end + (start - end) * float(np.exp(-((s / 0.17) ** 1.5)))
        )
    knots.add_plateau(stance.touchdown_s + 0.72, until_s, end)


def make_shin_curve(course: Course, stances: Sequence[Stance], ready: Ready) -> FloatArray:
    """Shin angle of one leg in deg on the course's clock."""
    knots = Knots()
    first = stances[0]
    add_ready(knots, course, (90.0, ready.shin_marks_deg, ready.shin_set_deg), -25.0)
    start = ready.shin_set_deg if knots.time_s[-1] > course.marks_s + 0.2 else 90.0
    add_departure(knots, course.go_s, first.toe_off_s, start, first.posture.shin_toe_off_deg)
    for before, after in pairwise(stances):
        _add_shin_swing(knots, before, after)
        if np.isfinite(after.toe_off_s):
            _add_shin_stance(knots, after)
        else:
            knots.add_knot(after.touchdown_s, after.posture.shin_touchdown_deg)
            add_ending(
                knots,
                after,
                after.posture.shin_touchdown_deg,
                ready.shin_end_deg,
                float(course.time_s[-1]),
            )
    return knots.make_curve(course.time_s)
