"""Turns of one leg out of the sagittal plane, and sway in standing (sizes are judgement)."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.easing import quintic_step
from imuproc.synth.course import GRID_HZ, Course
from imuproc.synth.legs.angles import Knots
from imuproc.synth.plan import RunPlan
from imuproc.synth.stances import Stance

FloatArray = NDArray[np.float64]


def _compute_curve_lean_deg(plan: RunPlan, course: Course) -> FloatArray:
    """Lean into the curve in deg that balances the speed; zero on the straight."""
    if plan.curve_radius_m is None:
        return np.zeros(len(course.time_s))
    share = course.speed_mps**2 / (STANDARD_GRAVITY_MPS2 * plan.curve_radius_m)
    return gaussian_filter1d(np.degrees(np.arctan(share)), 0.1 * GRID_HZ)


def _draw_cycle_deg(
    course: Course,
    stances: Sequence[Stance],
    values: tuple[float, float, float, float],
    rng: np.random.Generator,
) -> FloatArray:
    """Curve in deg with values at touchdown, mid-stance, toe-off and mid-swing, with scatter."""
    knots = Knots()
    knots.add_plateau(0.0, course.go_s, 0.0)
    for before, stance in pairwise(stances):
        lands, middle, leaves, swings = np.array(values) + np.clip(rng.normal(size=4), -2, 2)
        swing_s = stance.touchdown_s - before.toe_off_s
        knots.add_knot(before.toe_off_s, leaves)
        knots.add_knot(before.toe_off_s + 0.35 * swing_s, swings)
        knots.add_knot(before.toe_off_s + 0.75 * swing_s, 0.5 * (swings + lands))
        knots.add_knot(stance.touchdown_s, lands)
        if np.isfinite(stance.toe_off_s):
            contact_s = stance.toe_off_s - stance.touchdown_s
            knots.add_knot(stance.touchdown_s + 0.35 * contact_s, middle)
            knots.add_knot(stance.touchdown_s + 0.70 * contact_s, 0.5 * (middle + leaves))
    knots.add_plateau(stances[-1].touchdown_s + 0.3, float(course.time_s[-1]), 0.0)
    return knots.make_curve(course.time_s)


def _draw_sway_deg(plan: RunPlan, course: Course, rng: np.random.Generator) -> FloatArray:
    """Slow sway of a standing shank in deg, gone while the athlete moves; mean zero before."""
    t = course.time_s
    frequency = rng.uniform(0.15, 1.1, 5)
    size = rng.uniform(0.3, 1.0, 5) / np.sqrt(frequency / 0.15)
    phase = rng.uniform(0.0, 2.0 * np.pi, 5)
    wave = (size[:, None] * np.sin(2.0 * np.pi * frequency[:, None] * t + phase[:, None])).sum(0)
    before, after = t < course.marks_s - 0.1, t > course.stop_s + 0.4
    wave = wave / np.std(wave) - wave[before].mean() / np.std(wave)
    standing = gaussian_filter1d((before | after).astype(np.float64), 0.1 * GRID_HZ)
    standing *= quintic_step(t / 0.5) * quintic_step(
        (t[-1] - t) / 0.5
    )  # so that recordings can be joined
    return np.asarray(plan.sway_deg * wave * standing)


def draw_frontal_angles(
    plan: RunPlan, course: Course, stances: Sequence[Stance], rng: np.random.Generator
) -> dict[str, FloatArray]:
    """Angles out of the sagittal plane, and sway.

    Parameters
    ----------
    plan : RunPlan
    course : Course
    stances : sequence of Stance
        Of one foot.
    rng : numpy Generator

    Returns
    -------
    dict from str to ndarray, shape (n,)
        In rad: ``yaw`` (turn of the leg's plane), ``toe_out`` (of the foot within it), ``tilt`` of
        the foot, ``frontal`` and ``internal`` of the shank, ``sway`` of the shank in standing.
    """
    left = stances[0].side == "left"
    outward = 1.0 if left else -1.0
    toe_out = plan.technique.toe_out_deg[0 if left else 1]
    share = rng.uniform(0.3, 0.7)
    ones = np.ones(len(course.time_s))
    lean = _compute_curve_lean_deg(plan, course)
    tilts = plan.technique.inversion_touchdown_deg, -4.0, 0.0, 4.0
    degrees = {
        "yaw": outward
        * (toe_out * share + _draw_cycle_deg(course, stances, (0.0, 0.0, 2.5, -2.0), rng)),
        "toe_out": outward * toe_out * (1.0 - share) * ones,
        "tilt": -outward * _draw_cycle_deg(course, stances, tilts, rng) - 0.4 * lean,
        "frontal": -outward * _draw_cycle_deg(course, stances, (4.0, 2.0, 3.0, -2.0), rng)
        - 0.8 * lean,
        "internal": -outward * _draw_cycle_deg(course, stances, (0.0, 6.0, 1.0, -4.0), rng),
        "sway": _draw_sway_deg(plan, course, rng),
    }
    return {name: np.radians(value) for name, value in degrees.items()}
