"""One leg through a whole made-up run: poses of shank and foot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from imuproc.core.sites import Side
from imuproc.dsp.easing import quintic_step
from imuproc.synth.course import GRID_HZ, Course
from imuproc.synth.legs.angles import draw_ready_angles, make_shin_curve
from imuproc.synth.legs.ankle import make_pitch_curve
from imuproc.synth.legs.ball import AT_REST, Sagittal, compute_stance_path
from imuproc.synth.legs.frontal import draw_frontal_angles
from imuproc.synth.legs.pelvis import Pelvis, fit_hip_spline, rotate_zyx
from imuproc.synth.legs.swing import make_swing
from imuproc.synth.plan import RunPlan
from imuproc.synth.poses import PoseTrack
from imuproc.synth.schedule import Schedule
from imuproc.synth.stances import Stance

FloatArray = NDArray[np.float64]

_PEEL_S: Final = 0.004

_PLACE_S: Final = 1.1
"""Time in which a foot is put into its place at the start."""


@dataclass(frozen=True, eq=False)
class Leg:
    """Poses of one leg's bones.

    Parameters
    ----------
    shank, foot : PoseTrack
        Origins: ankle centre; heel at ground level.
    ball_m : ndarray, shape (n, 3)
        Ball of the foot in m.
    strikes_mps : mapping from float to float
        Downward speed in m/s of the striking point by touchdown in s.
    """

    shank: PoseTrack
    foot: PoseTrack
    ball_m: FloatArray
    strikes_mps: Mapping[float, float]


def _compute_ready_path(
    leg: Sagittal, course: Course, stance: Stance, stand_m: float
) -> FloatArray:
    """Ball of the foot in standing, put into its place, and there until it leaves the ground."""
    t = course.time_s[course.time_s <= stance.toe_off_s]
    placed = compute_stance_path(leg, stance, AT_REST, t)
    if course.go_s - course.marks_s < 0.5:
        return placed
    w = (t - course.marks_s - 0.1) / _PLACE_S
    share = quintic_step(w)[:, None]
    stand = np.array([stand_m, leg.body.sole_radius_m])
    path = (1.0 - share) * stand + share * placed
    path[:, 1] += 0.10 * 64.0 * (np.clip(w, 0.0, 1.0) * np.clip(1.0 - w, 0.0, 1.0)) ** 3
    return np.asarray(path)


def _compute_ball_path(
    leg: Sagittal, course: Course, stances: Sequence[Stance], hip: CubicSpline, stand_m: float
) -> tuple[FloatArray, dict[float, float]]:
    """Ball of the foot: forward, left, up in m, (n, 3); downward speed in m/s by touchdown in s."""
    t = course.time_s
    out, strikes, landed = np.empty((len(t), 3)), {}, AT_REST
    for i, stance in enumerate(stances):
        on = (t >= stance.touchdown_s) & (t <= stance.toe_off_s)
        if i == 0:
            out[on, ::2] = _compute_ready_path(leg, course, stance, stand_m)
            out[on, 1] = stance.ball_left_m
            continue
        before = stances[i - 1]
        air = (t > before.toe_off_s) & (t < stance.touchdown_s)
        swing = make_swing(leg, (before, stance), hip, landed)
        landed = swing.arrival
        out[air, ::2] = swing.path(t[air])
        out[on, ::2] = compute_stance_path(leg, stance, landed, t[on])
        strikes[stance.touchdown_s] = -float(landed.velocity_mps[1])
        out[on, 1] = stance.ball_left_m
        w = (t[air] - before.toe_off_s) / (stance.touchdown_s - before.toe_off_s)
        out[air, 1] = before.ball_left_m + quintic_step(w) * (
            stance.ball_left_m - before.ball_left_m
        )
    return _soften_toe_offs(out, t, [s.toe_off_s for s in stances[:-1]]), strikes


def _soften_toe_offs(path: FloatArray, t: FloatArray, toe_offs_s: Sequence[float]) -> FloatArray:
    """The path with a short kernel around each toe-off.

    The toes peel off; without this the change from stance to swing would mark toe-off by a corner
    of acceleration that no real foot has. It moves the toe tip by less than 1 mm.
    """
    away = np.min(np.abs(t[:, None] - np.array(toe_offs_s)), axis=1)
    weight = 1.0 - quintic_step((away - 0.015) / 0.040)
    smooth = gaussian_filter1d(path, _PEEL_S * GRID_HZ, axis=0)
    return np.asarray(path + weight[:, None] * (smooth - path))


def make_leg(plan: RunPlan, course: Course, schedule: Schedule, pelvis: Pelvis, side: Side) -> Leg:
    """Poses of one leg.

    Parameters
    ----------
    plan : RunPlan
    course : Course
    schedule : Schedule
    pelvis : Pelvis
    side : {"left", "right"}

    Returns
    -------
    Leg
    """
    rng = np.random.default_rng([plan.seed, 3, 0 if side == "left" else 1])
    body, t, stances = plan.body, course.time_s, schedule.select_side(side)
    ready = draw_ready_angles(plan, side == plan.first_side, rng)
    shin = make_shin_curve(course, stances, ready)
    pitch = make_pitch_curve(course, stances, ready, shin)
    turns, zero = draw_frontal_angles(plan, course, stances, rng), np.zeros(len(t))
    foot = rotate_zyx(turns["yaw"], -np.radians(pitch), zero) @ rotate_zyx(
        turns["toe_out"], zero, turns["tilt"]
    )
    nose_down = np.radians(90.0 - shin) - turns["sway"]
    shank = rotate_zyx(turns["yaw"], nose_down, turns["frontal"]) @ rotate_zyx(
        turns["internal"], zero, zero
    )
    edge = body.ball_half_width_m * (1.0 if side == "left" else -1.0)
    behind = body.sole_radius_m - body.ball_from_heel_m
    leg = Sagittal(
        body=body,
        shin=CubicSpline(t, np.radians(shin)),
        pitch=CubicSpline(t, np.radians(pitch)),
        edge_up=CubicSpline(t, -np.abs((foot @ np.array([0.0, edge, 0.0]))[:, 2])),
        heel_up=CubicSpline(t, (foot @ np.array([behind, 0.6 * edge, 0.0]))[:, 2]),
        go_s=course.go_s,
    )
    stand_m = max(s.ball_m for s in schedule.stances if s.kind == "ready")
    ball, strikes = _compute_ball_path(
        leg, course, stances, fit_hip_spline(plan, pelvis, course, side), stand_m
    )
    heel = ball - foot @ np.array([body.ball_from_heel_m, 0.0, body.sole_radius_m])
    ankle = heel + foot @ np.array([body.ankle_from_heel_m, 0.0, body.ankle_height_m])
    return Leg(PoseTrack(t, shank, ankle), PoseTrack(t, foot, heel), ball, strikes)
