"""Drills and rests of a training session that swing or fold the legs, and are no running.

Each is told by what the ball of one foot, the shin and the foot do over a cycle; the other leg does
the same later in the cycle. The ball stays where it is in every contact. Shapes are a judgement of
what coaches ask for; nothing of how runs are found went into them.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

from imuproc.core.sites import SIDES, Site, foot_of, shank_of
from imuproc.synth.course import GRID_HZ
from imuproc.synth.legs.body_line import add_upper_body
from imuproc.synth.legs.pelvis import rotate_zyx
from imuproc.synth.plan import RunPlan
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

Drill = Literal[
    "high-knees", "heel-flicks", "skips", "skipping", "cycling", "squats", "lunges", "sitting"
]

_STAND_S: Final = 1.2
_KERNEL_S: Final = 0.012
_HALF_WIDTH_M: Final = 0.09


@dataclass(frozen=True)
class Shape:
    """What one leg does over a cycle.

    Parameters
    ----------
    cycle_s : float
    gain_m : float
        Way of the body over a cycle.
    other_leg : float
        How much later the other leg does it, as a share of the cycle.
    contacts : tuple of pairs of float
        First and last touch of the ground as shares of the cycle, in order.
    knots : tuple of tuples
        Share of the cycle, how far ahead of its way the ball is and how high (m), shin angle and
        foot pitch (deg).
    """

    cycle_s: float
    gain_m: float
    other_leg: float
    contacts: tuple[tuple[float, float], ...]
    knots: tuple[tuple[float, float, float, float, float], ...]


SHAPES: Final[dict[Drill, Shape]] = {
    "high-knees": Shape(
        *(0.46, 0.25, 0.5, ((0.0, 0.42),)),
        (
            *((0.0, 0.0, 0.0, 93.0, -6.0), (0.2, 0.0, 0.0, 86.0, 0.0)),
            *((0.42, 0.0, 0.0, 74.0, -34.0), (0.55, -0.05, 0.20, 52.0, -48.0)),
            *((0.72, 0.22, 0.46, 72.0, -12.0), (0.9, 0.10, 0.12, 96.0, -2.0)),
        ),
    ),
    "heel-flicks": Shape(
        *(0.44, 0.40, 0.5, ((0.0, 0.4),)),
        (
            *((0.0, 0.0, 0.0, 94.0, -8.0), (0.2, 0.0, 0.0, 84.0, -4.0)),
            *((0.4, 0.0, 0.0, 68.0, -38.0), (0.54, -0.14, 0.26, 24.0, -84.0)),
            *((0.66, -0.16, 0.50, 2.0, -112.0), (0.82, -0.04, 0.22, 44.0, -58.0)),
            *((0.94, 0.03, 0.04, 88.0, -12.0),),
        ),
    ),
    "skips": Shape(
        *(0.84, 1.0, 0.5, ((0.0, 0.16), (0.34, 0.5))),
        (
            *((0.0, 0.0, 0.0, 92.0, -4.0), (0.16, 0.0, 0.0, 78.0, -26.0)),
            *((0.25, 0.0, 0.07, 80.0, -30.0), (0.34, 0.0, 0.0, 90.0, -8.0)),
            *((0.5, 0.0, 0.0, 76.0, -30.0), (0.62, -0.06, 0.20, 48.0, -50.0)),
            *((0.76, 0.20, 0.42, 74.0, -10.0), (0.92, 0.12, 0.10, 98.0, 0.0)),
        ),
    ),
    "skipping": Shape(
        *(0.92, 2.0, 0.5, ((0.0, 0.15), (0.35, 0.5))),
        (
            *((0.0, 0.0, 0.0, 94.0, -2.0), (0.15, 0.0, 0.0, 70.0, -34.0)),
            *((0.25, 0.0, 0.10, 74.0, -36.0), (0.35, 0.0, 0.0, 92.0, -6.0)),
            *((0.5, 0.0, 0.0, 66.0, -38.0), (0.62, -0.10, 0.24, 34.0, -66.0)),
            *((0.78, 0.26, 0.36, 72.0, -16.0), (0.93, 0.18, 0.08, 100.0, 2.0)),
        ),
    ),
    "cycling": Shape(
        *(0.58, 0.0, 0.5, ((0.0, 0.14),)),
        (
            *((0.0, 0.0, 0.0, 90.0, -10.0), (0.14, 0.0, 0.0, 76.0, -30.0)),
            *((0.3, -0.34, 0.22, 30.0, -80.0), (0.5, -0.12, 0.50, 20.0, -86.0)),
            *((0.68, 0.30, 0.52, 66.0, -24.0), (0.85, 0.34, 0.24, 104.0, -4.0)),
        ),
    ),
    "squats": Shape(
        *(2.2, 0.0, 0.0, ((0.0, 1.0),)),
        (
            *((0.0, 0.0, 0.0, 90.0, 0.0), (0.25, 0.0, 0.0, 66.0, 0.0)),
            *((0.5, 0.0, 0.0, 58.0, 0.0), (0.75, 0.0, 0.0, 66.0, 0.0)),
        ),
    ),
    "lunges": Shape(
        *(2.4, 1.6, 0.5, ((0.0, 0.7),)),
        (
            *((0.0, 0.0, 0.0, 98.0, 8.0), (0.08, 0.0, 0.0, 88.0, 0.0)),
            *((0.3, 0.0, 0.0, 68.0, 0.0), (0.55, 0.0, 0.0, 56.0, -24.0)),
            *((0.7, 0.0, 0.0, 34.0, -56.0), (0.82, -0.02, 0.14, 40.0, -40.0)),
            *((0.93, 0.06, 0.14, 88.0, 4.0),),
        ),
    ),
    "sitting": Shape(
        *(6.0, 0.0, 0.0, ((0.0, 1.0),)), ((0.0, 0.0, 0.0, 97.0, 0.0), (0.5, 0.0, 0.0, 97.0, 0.0))
    ),
}


def make_drill(
    plan: RunPlan, drill: Drill, duration_s: float, rng: np.random.Generator
) -> dict[Site, PoseTrack]:
    """Poses of a drill, with standing before and after it.

    Parameters
    ----------
    plan : RunPlan
        Who does it.
    drill : Drill
    duration_s : float
        About how long, without the standing.
    rng : numpy Generator
        Draws how fast and how far this athlete does it.

    Returns
    -------
    dict from Site to PoseTrack
    """
    shape, hurry, size = SHAPES[drill], float(rng.uniform(0.93, 1.07)), float(rng.uniform(0.9, 1.1))
    cycle_s = shape.cycle_s * hurry
    cycles = max(2, round(duration_s / cycle_s))
    # Both legs end as they began: the later leg has one cycle of its own more to come.
    moving_s = (cycles + shape.other_leg) * cycle_s + 2.0 * _STAND_S
    t = np.arange(round((moving_s + 2.0 * _STAND_S) * GRID_HZ)) / GRID_HZ
    bones: dict[Site, PoseTrack] = {}
    ball_x = []
    for number, side in enumerate(SIDES):
        begin_s = 2.0 * _STAND_S + (shape.other_leg * cycle_s if number else 0.0)
        x, up, shin, pitch = _make_leg_curves(shape, (begin_s, cycle_s, cycles), size, t)
        ball_x.append(x)
        foot, shank = _make_leg_tracks(plan, number, (x, up), (shin, pitch), t)
        bones[foot_of(side)], bones[shank_of(side)] = foot, shank
    zero = np.zeros(len(t))
    middle = gaussian_filter1d(0.5 * (ball_x[0] + ball_x[1]), 0.2 * GRID_HZ)
    height = np.full(len(t), 0.98 * plan.body.hip_height_m)
    pelvis = np.stack((middle - _measure_ball_ahead_of_ankle_m(plan), zero, height), -1)
    bones["pelvis"] = PoseTrack(t, rotate_zyx(zero, zero, zero), pelvis)
    return add_upper_body(bones, plan.body)


def _measure_ball_ahead_of_ankle_m(plan: RunPlan) -> float:
    return plan.body.ball_from_heel_m - plan.body.ankle_from_heel_m


def _make_leg_curves(
    shape: Shape, timing: tuple[float, float, int], size: float, t: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Way and height of the ball in m, shin angle and foot pitch in rad."""
    begin_s, cycle_s, cycles = timing
    rows = [(0.0, 0.0, 0.0, 90.0, 0.0), (begin_s - _STAND_S, 0.0, 0.0, 90.0, 0.0)]
    for cycle in range(cycles):
        for share, ahead_m, up_m, shin_deg, pitch_deg in shape.knots:
            way_m = shape.gain_m * (cycle + _compute_way_share(shape, share))
            at_s = begin_s + (cycle + share) * cycle_s
            rows.append((at_s, way_m + size * ahead_m, size * up_m, shin_deg, size * pitch_deg))
    end_s, way_m = begin_s + cycles * cycle_s, shape.gain_m * cycles
    last = shape.knots[0]
    rows.append((end_s, way_m, 0.0, last[3], size * last[4]))
    rows += [(end_s + 0.4, way_m, 0.0, 90.0, 0.0), (max(t[-1], end_s + 0.5), way_m, 0.0, 90.0, 0.0)]
    knots = np.array(rows)
    curves = PchipInterpolator(knots[:, 0], knots[:, 1:])(t)
    x, up, shin, pitch = gaussian_filter1d(curves, _KERNEL_S * GRID_HZ, axis=0).T
    return x, up, np.radians(shin), np.radians(pitch)


def _compute_way_share(shape: Shape, share: float) -> float:
    """How far on its way over the cycle the foot is, 0 to 1: it rests in contacts."""
    air = [
        (a[1], b[0])
        for a, b in zip(shape.contacts, (*shape.contacts[1:], (1.0, 1.0)), strict=True)
        if b[0] > a[1]
    ]
    total = sum(end - start for start, end in air)
    gone = sum(min(max(share - start, 0.0), end - start) for start, end in air)
    return gone / total if total else 0.0


def _make_leg_tracks(
    plan: RunPlan,
    number: int,
    ball: tuple[FloatArray, FloatArray],
    angles: tuple[FloatArray, FloatArray],
    t: FloatArray,
) -> tuple[PoseTrack, PoseTrack]:
    """Foot and shank of one leg from the ball of the foot, shin angle and foot pitch."""
    body, (x, up), (shin, pitch) = plan.body, ball, angles
    outward = 1.0 if number == 0 else -1.0
    zero = np.zeros(len(t))
    yaw = np.full(len(t), np.radians(outward * plan.technique.toe_out_deg[number]))
    foot = rotate_zyx(yaw, -pitch, zero)
    shank = rotate_zyx(0.5 * yaw, np.pi / 2 - shin, zero)
    place = np.stack((x, zero + _HALF_WIDTH_M * outward, body.sole_radius_m + up), -1)
    heel = place - foot @ np.array([body.ball_from_heel_m, 0.0, body.sole_radius_m])
    ankle = heel + foot @ np.array([body.ankle_from_heel_m, 0.0, body.ankle_height_m])
    return PoseTrack(t, foot, heel), PoseTrack(t, shank, ankle)
