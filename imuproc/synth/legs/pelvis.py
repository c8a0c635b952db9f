"""Pelvis of a made-up run: its path, lean, turn and list; both hip joints hang on it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from imuproc.core.sites import Side
from imuproc.dsp.filters import smooth_binomially
from imuproc.synth.course import GRID_HZ, Course
from imuproc.synth.plan import RunPlan
from imuproc.synth.poses import PoseTrack
from imuproc.synth.schedule import (
    PELVIS_SWING_M,
    TOE_RISE_M,
    TOE_TRAVEL_M,
    Schedule,
    locate_knee_from_ball,
)
from imuproc.synth.stances import Stance

FloatArray = NDArray[np.float64]

_SET_LEAN_DEG: Final = {"blocks": 62.0, "three-point": 55.0, "crouch": 48.0, "standing": 25.0}
_SET_HEIGHT: Final = {"blocks": 0.92, "three-point": 0.90, "crouch": 0.85, "standing": 0.95}
_DRIVE_LEAN_DEG: Final = 40.0
_TOP_LEAN_DEG: Final = 9.0


@dataclass(frozen=True, eq=False)
class Pelvis:
    """Pelvis through the run on the course's clock.

    Parameters
    ----------
    position_m : ndarray, shape (n, 3)
        Midpoint of the hip joints in m, world axes.
    lean_rad, turn_rad, list_rad : ndarray, shape (n,)
        Forward lean, turn to the left, left side up.
    """

    position_m: FloatArray
    lean_rad: FloatArray
    turn_rad: FloatArray
    list_rad: FloatArray


def rotate_zyx(yaw: FloatArray, nose_down: FloatArray, left_up: FloatArray) -> FloatArray:
    """Matrices Rz(yaw) Ry(nose_down) Rx(left_up) of angles in rad, (n, 3, 3)."""
    cy, sy, cp, sp = np.cos(yaw), np.sin(yaw), np.cos(nose_down), np.sin(nose_down)
    cr, sr = np.cos(left_up), np.sin(left_up)
    rows = (
        np.stack((cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr), axis=-1),
        np.stack((sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr), axis=-1),
        np.stack((-sp, cp * sr, cp * cr), axis=-1),
    )
    return np.stack(rows, axis=-2)


def _evaluate_smooth_spline(
    time_s: FloatArray, knots: list[tuple[float, float]], sigma_s: float
) -> FloatArray:
    at, value = np.array(sorted(knots)).T
    keep = np.concatenate(([True], np.diff(at) > 0.012))
    curve = CubicSpline(at[keep], value[keep], bc_type="clamped")
    return gaussian_filter1d(curve(np.clip(time_s, at[0], at[-1])), sigma_s * GRID_HZ)


def _compute_hip_above_knee_m(thigh_m: float, across_m: float) -> float:
    return float(np.sqrt(max(thigh_m**2 - across_m**2, (0.55 * thigh_m) ** 2)))


def _compute_height_knots(
    plan: RunPlan, course: Course, stance: Stance
) -> list[tuple[float, float]]:
    """Height of the hips at touchdown and toe-off that fits the leg's posture."""
    p, body = stance.posture, plan.body
    x0, z0 = locate_knee_from_ball(body, p.shin_touchdown_deg, p.pitch_touchdown_deg)
    x1, z1 = locate_knee_from_ball(body, p.shin_toe_off_deg, p.pitch_toe_off_deg)
    ground = body.sole_radius_m
    knots = []
    if np.isfinite(stance.touchdown_s):
        across = course.locate_hips(stance.touchdown_s) + PELVIS_SWING_M - stance.ball_m - x0
        knots.append(
            (stance.touchdown_s, ground + z0 + _compute_hip_above_knee_m(body.thigh_m, across))
        )
    if np.isfinite(stance.toe_off_s):
        across = (
            course.locate_hips(stance.toe_off_s)
            - PELVIS_SWING_M
            - stance.ball_m
            - TOE_TRAVEL_M
            - x1
        )
        knots.append(
            (
                stance.toe_off_s,
                ground + TOE_RISE_M + z1 + _compute_hip_above_knee_m(body.thigh_m, across),
            )
        )
    if len(knots) == 2:
        dip = 0.01 + 0.015 * p.upright
        middle = 0.5 * (knots[0][1] + knots[1][1]) - dip
        knots.append((0.5 * (stance.touchdown_s + stance.toe_off_s), middle))
    return knots


def _smooth_height_knots(steps: list[list[tuple[float, float]]]) -> list[tuple[float, float]]:
    """Knots of all steps; each kind of height (touchdown, toe-off, middle) eased over steps."""
    if not steps:
        return []
    out = [steps[0][0]] if len(steps[0]) == 1 else list(steps[0])
    full = np.array(steps[len(steps[0]) == 1 :])
    for _ in range(3):
        padded = np.concatenate((full[:1], full, full[-1:]))[:, :, 1]
        full[:, :, 1] = smooth_binomially(padded)[1:-1]
    return out + [(float(t), float(z)) for t, z in full.reshape(-1, 2)]


def _compute_height_m(plan: RunPlan, course: Course, schedule: Schedule) -> FloatArray:
    tall = 0.985 * plan.body.hip_height_m
    low = _SET_HEIGHT.get(plan.start, 1.0) * tall
    knots = [(t, tall) for t in np.arange(0.0, course.marks_s + 0.01, 0.25)]
    if course.go_s > course.set_s:
        knots += [(t, low) for t in np.arange(course.set_s, course.go_s - 0.05, 0.2)]
        knots += [(course.marks_s + 1.5, low - 0.12)] if plan.start != "standing" else []
    front = [s for s in schedule.stances if s.kind == "ready" and s.toe_off_s == course.exit_s]
    running = front + [s for s in schedule.stances if s.kind == "run"]
    knots += _smooth_height_knots(
        [_compute_height_knots(plan, course, stance) for stance in running]
    )
    for stance in schedule.stances:
        if stance.kind == "walk":
            knots.append((stance.touchdown_s, tall - 0.03))
            knots.append((stance.touchdown_s + 0.3, tall))
    knots += [(t, tall) for t in np.arange(course.stop_s + 0.1, course.time_s[-1], 0.25)]
    return _evaluate_smooth_spline(course.time_s, knots, 0.012)


def _compute_lean_deg(plan: RunPlan, course: Course) -> FloatArray:
    """Forward lean in deg: set, drive, upright, standing."""
    t = course.time_s
    in_set = _SET_LEAN_DEG.get(plan.start, 0.0)
    since = np.maximum(t - course.exit_s, 0.0)
    first = _DRIVE_LEAN_DEG if in_set else _TOP_LEAN_DEG
    lean = np.where(
        t < course.exit_s, in_set, _TOP_LEAN_DEG + (first - _TOP_LEAN_DEG) * np.exp(-since / 1.1)
    )
    if plan.start == "rolling":
        lean = np.where(t < course.go_s, 0.0, _TOP_LEAN_DEG)
    lean = np.where(t < course.marks_s + 0.5, 0.0, lean)
    lean = np.where(t > course.effort_end_s, 2.0, lean)
    lean = np.where(t > course.stop_s - 0.4, 0.0, lean)
    return gaussian_filter1d(lean, 0.12 * GRID_HZ)


def make_pelvis(plan: RunPlan, course: Course, schedule: Schedule) -> Pelvis:
    """Pelvis that fits the contacts of a run.

    Parameters
    ----------
    plan : RunPlan
    course : Course
    schedule : Schedule

    Returns
    -------
    Pelvis
    """
    t = course.time_s
    front_m = max(s.ball_m for s in schedule.stances if s.kind == "ready")
    stand_m = front_m - plan.body.ball_from_heel_m + plan.body.ankle_from_heel_m
    behind = np.where(t < course.marks_s + 0.6, stand_m - course.locate_hips(course.go_s), 0.0)
    forward = course.forward_m + gaussian_filter1d(behind, 0.2 * GRID_HZ)
    turn, tilt = [(0.0, 0.0), (course.go_s, 0.0)], [(0.0, 0.0), (course.go_s, 0.0)]
    amplitude = PELVIS_SWING_M / plan.body.hip_half_width_m
    for stance in schedule.stances:
        if stance.kind in ("run", "walk"):
            sign = 1.0 if stance.side == "left" else -1.0
            part = 1.0 if stance.kind == "run" else 0.4
            turn.append((stance.touchdown_s, -sign * part * amplitude))
            middle = stance.touchdown_s + 0.4 * (stance.toe_off_s - stance.touchdown_s)
            tilt.append((middle, sign * part * np.radians(4.0)))
    for at in np.arange(course.stop_s, course.time_s[-1], 0.5):
        turn.append((at, 0.0))
        tilt.append((at, 0.0))
    position = np.stack(
        (forward, np.zeros(len(t)), _compute_height_m(plan, course, schedule)), axis=-1
    )
    return Pelvis(
        position_m=position,
        lean_rad=np.radians(_compute_lean_deg(plan, course)),
        turn_rad=_evaluate_smooth_spline(t, turn, 0.01),
        list_rad=_evaluate_smooth_spline(t, tilt, 0.01),
    )


def fit_hip_spline(plan: RunPlan, pelvis: Pelvis, course: Course, side: Side) -> CubicSpline:
    """Hip joint of one side by time, forward and up in m."""
    out = plan.body.hip_half_width_m * (1.0 if side == "left" else -1.0)
    forward = pelvis.position_m[:, 0] - out * np.sin(pelvis.turn_rad)
    up = pelvis.position_m[:, 2] + out * np.sin(pelvis.list_rad)
    step = 4  # hips move slowly; a coarser spline is as good and lighter
    return CubicSpline(course.time_s[::step], np.stack((forward, up), axis=-1)[::step])


def make_pelvis_track(pelvis: Pelvis, course: Course) -> PoseTrack:
    """Pose of the pelvis, origin midway between the hip joints."""
    rotation = rotate_zyx(pelvis.turn_rad, pelvis.lean_rad, pelvis.list_rad)
    return PoseTrack(course.time_s, rotation, pelvis.position_m)
