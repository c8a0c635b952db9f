"""The order of contacts of a made-up run, from its plan and course."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import Side
from imuproc.synth.course import Course
from imuproc.synth.ground import Ground, scatter_ground
from imuproc.synth.plan import Body, RunPlan, Technique, add_faults
from imuproc.synth.stances import (
    RUN_MPS,
    Posture,
    Stance,
    compute_effort_times,
    compute_running_times,
    compute_walking_times,
    make_effort_posture,
    make_slow_posture,
)

FloatArray = NDArray[np.float64]

TOE_TRAVEL_M: Final = 0.020
TOE_RISE_M: Final = 0.020
"""About how far the ball of the foot has rolled forward and risen at toe-off."""

PELVIS_SWING_M: Final = 0.026
"""How far turning of the pelvis carries each hip forward and back in running."""

_STAND_LEFT_M: Final[dict[Side, float]] = {"left": 0.09, "right": -0.09}
"""Where each foot stands to the left of the midline, before the start and after the stop."""

_START_GAP_M: Final = {"blocks": 0.28, "three-point": 0.38, "crouch": 0.36, "standing": 0.38}
"""How far the rear foot is behind the front one in each start that has one."""


@dataclass(frozen=True)
class Schedule:
    """All contacts of a run in order of touchdown, the standing ones included."""

    stances: tuple[Stance, ...]

    def select_side(self, side: Side) -> tuple[Stance, ...]:
        """Contacts of one foot."""
        return tuple(s for s in self.stances if s.side == side)


def locate_knee_from_ball(body: Body, shin_deg: float, pitch_deg: float) -> tuple[float, float]:
    """Knee relative to the ball of the foot in the sagittal plane, forward and up in m."""
    shin, pitch = np.radians(shin_deg), np.radians(pitch_deg)
    back = body.ankle_from_heel_m - body.ball_from_heel_m
    up = body.ankle_height_m - body.sole_radius_m
    x = back * np.cos(pitch) - up * np.sin(pitch) + body.shank_m * np.cos(shin)
    z = back * np.sin(pitch) + up * np.cos(pitch) + body.shank_m * np.sin(shin)
    return float(x), float(z)


def compute_ball_ahead_of_hip(body: Body, posture: Posture, travel_m: float) -> float:
    """Where the foot must land so that the hip is about as high at touchdown as at toe-off.

    Parameters
    ----------
    body : Body
    posture : Posture
    travel_m : float
        How far the hips travel during contact in m.

    Returns
    -------
    float
        Ball of the foot ahead of the hips at touchdown in m.
    """
    ahead = np.linspace(-0.35, 0.75, 221)
    x0, z0 = locate_knee_from_ball(body, posture.shin_touchdown_deg, posture.pitch_touchdown_deg)
    x1, z1 = locate_knee_from_ball(body, posture.shin_toe_off_deg, posture.pitch_toe_off_deg)
    reach0 = x0 + ahead - PELVIS_SWING_M
    reach1 = travel_m - ahead - PELVIS_SWING_M - x1 - TOE_TRAVEL_M
    limit = (0.99 * body.thigh_m) ** 2
    over = np.maximum(reach0**2 - limit, 0.0) + np.maximum(reach1**2 - limit, 0.0)
    height0 = z0 + np.sqrt(np.maximum(body.thigh_m**2 - reach0**2, 0.0))
    height1 = z1 + TOE_RISE_M + np.sqrt(np.maximum(body.thigh_m**2 - reach1**2, 0.0))
    rise = 0.05 * (1.0 - posture.upright)
    return float(ahead[np.argmin(np.abs(height1 - height0 - rise) + 10.0 * over)])


def _avoid_flat_landing(pitch_deg: float) -> float:
    """Foot pitch at touchdown, kept off the flat landing that is neither ball nor heel first."""
    if -2.0 < pitch_deg < 6.0:
        return -2.0 if pitch_deg < 2.0 else 6.0
    return pitch_deg


def _scatter_posture(posture: Posture, sd_deg: float, rng: np.random.Generator) -> Posture:
    """Posture of one step: the athlete's own with step-to-step scatter."""
    z = np.clip(rng.standard_normal(10), -2.2, 2.2)
    return replace(
        posture,
        shin_touchdown_deg=posture.shin_touchdown_deg + sd_deg * z[0],
        shin_toe_off_deg=posture.shin_toe_off_deg + 0.7 * sd_deg * z[1],
        shin_rate_touchdown_degps=posture.shin_rate_touchdown_degps + 25.0 * sd_deg * z[2],
        shin_swing_low_deg=posture.shin_swing_low_deg + 1.5 * sd_deg * z[3],
        pitch_touchdown_deg=_avoid_flat_landing(posture.pitch_touchdown_deg + sd_deg * z[4]),
        pitch_toe_off_deg=posture.pitch_toe_off_deg + sd_deg * z[5],
        dorsiflexion_swing_deg=posture.dorsiflexion_swing_deg + sd_deg * z[6],
        knee_lift_deg=posture.knee_lift_deg + sd_deg * z[7],
        slip_speed_mps=posture.slip_speed_mps * (1.0 + 0.15 * z[8]),
        swing_low_at=posture.swing_low_at + 0.007 * sd_deg * z[9],
    )


def _mix_postures(a: Posture, b: Posture, weight: float) -> Posture:
    """Posture between two, weight 1 giving the second."""
    names = a.__dataclass_fields__
    return Posture(*((1 - weight) * getattr(a, n) + weight * getattr(b, n) for n in names))


_READY_PEEL_SHARE: Final = 0.35
_READY_LIFT_RAD: Final = np.radians(30.0)
_MOST_LIFT_RAD: Final = 0.9


def _compute_toe_lift_rad(toe_m: float, ground: Ground, speed_mps: float) -> float:
    """Angle by which the ball is lifted over the toes at toe-off, so that they leave as stated."""
    rising_mps = ground.toe_speed_share * speed_mps
    lift = 0.5 * rising_mps * ground.peel_s / toe_m
    return float(min(lift * (1.0 + 0.5 * lift**2), _MOST_LIFT_RAD))


def find_other_side(side: Side) -> Side:
    """The other side."""
    return "right" if side == "left" else "left"


@dataclass(frozen=True)
class _Step:
    """Timing and posture of one step before scatter."""

    contact_s: float
    step_s: float
    posture: Posture
    kind: str


class _Stepper:
    """Gives each next step its timing and posture."""

    def __init__(self, plan: RunPlan, course: Course) -> None:
        self.plan, self.course = plan, course
        self.technique: Technique = add_faults(plan.technique, plan.faults)
        self.rng = np.random.default_rng([plan.seed, 1])
        self.slowing = 0

    def plan_step(self, number: int, touchdown_s: float, side: Side) -> _Step:
        """Timing and posture of a step that touches down at a time."""
        speed = self.course.interpolate_speed(touchdown_s + 0.05)
        step = self._plan_sound_step(number, touchdown_s, speed, side)
        k = 0 if side == "left" else 1
        sd = self.plan.contact_sd_s
        z = np.clip(self.rng.standard_normal(2), -2.2, 2.2)
        contact_s = step.contact_s + self.technique.contact_offset_s[k] + sd * z[0]
        posture = _scatter_posture(step.posture, self.plan.angle_sd_deg, self.rng)
        return replace(
            step, contact_s=contact_s, step_s=step.step_s + 1.2 * sd * z[1], posture=posture
        )

    def draw_ground(self, touchdown_s: float, contact_s: float) -> tuple[Ground, float, float]:
        """How the foot lands and leaves, how long it peels off, and how far its ball is lifted."""
        ground = scatter_ground(self.technique.ground, self.rng)
        # The heel must be down before it rises again.
        ground = replace(ground, sink_s=min(ground.sink_s, 0.34 * contact_s))
        speed = self.course.interpolate_speed(touchdown_s + 0.05)
        lift_rad = _compute_toe_lift_rad(self.plan.body.toe_m, ground, speed)
        return ground, min(ground.peel_s, 0.5 * contact_s), lift_rad

    def _plan_sound_step(self, number: int, touchdown_s: float, speed: float, side: Side) -> _Step:
        if speed < RUN_MPS:
            return _Step(
                *compute_walking_times(speed), make_slow_posture(self.technique, speed), "walk"
            )
        slow = _Step(*compute_running_times(speed), make_slow_posture(self.technique, speed), "run")
        slow = replace(slow, contact_s=1.05 * slow.contact_s)
        times = compute_effort_times(self.plan.start, self.technique, number, speed)
        if self.plan.start == "rolling":
            posture = make_effort_posture(self.technique, 7.0, side)
            eager = float(np.clip(speed / self.plan.vmax_mps / 0.45 - 0.8, 0.0, 1.0))
            posture = _mix_postures(slow.posture, posture, eager)
        else:
            posture = make_effort_posture(self.technique, float(number), side)
        fast = _Step(*times, posture, "run")
        if touchdown_s <= self.course.effort_end_s:
            return fast
        self.slowing += 1
        weight = min(1.0, 0.5 * self.slowing)
        return _Step(
            (1 - weight) * fast.contact_s + weight * slow.contact_s,
            (1 - weight) * fast.step_s + weight * slow.step_s,
            _mix_postures(fast.posture, slow.posture, weight),
            "run",
        )


def _plan_ready_contacts(
    plan: RunPlan, course: Course, stepper: _Stepper
) -> tuple[list[Stance], float]:
    """The two feet before the start and the time of the first touchdown."""
    technique, rear = stepper.technique, plan.first_side
    push = course.exit_s - course.go_s
    if plan.start == "rolling":
        rear_s, front_s, first_s = course.go_s + 0.25, course.go_s + 0.85, course.go_s + 0.70
        drive = make_slow_posture(technique, 1.35)
    else:
        share = 0.50 if plan.start == "blocks" else 0.55
        rear_s, front_s = course.go_s + share * push, course.exit_s
        first = compute_effort_times(plan.start, technique, 1, 3.0)
        first_s = front_s + first[1] - first[0]
        drive = make_effort_posture(technique, 1.0, rear)
    front_side = find_other_side(rear)
    gap_m = _START_GAP_M.get(plan.start, 0.0)
    x1, _ = locate_knee_from_ball(plan.body, drive.shin_toe_off_deg, drive.pitch_toe_off_deg)
    front_m = course.locate_hips(front_s) - x1 - TOE_TRAVEL_M - 0.75 * plan.body.thigh_m
    if plan.start == "rolling":
        front_m = (
            course.locate_hips(course.go_s)
            + plan.body.ball_from_heel_m
            - plan.body.ankle_from_heel_m
        )
    stances = [
        Stance(
            side,
            -np.inf,
            off_s,
            at_m,
            _STAND_LEFT_M[side],
            drive,
            "ready",
            technique.ground,
            _READY_PEEL_SHARE * min(off_s - course.go_s, 0.7),
            _READY_LIFT_RAD,
        )
        for side, off_s, at_m in ((rear, rear_s, front_m - gap_m), (front_side, front_s, front_m))
    ]
    return stances, first_s


def make_schedule(plan: RunPlan, course: Course) -> Schedule:
    """All contacts of a run.

    Parameters
    ----------
    plan : RunPlan
    course : Course

    Returns
    -------
    Schedule
    """
    stepper = _Stepper(plan, course)
    stances, touchdown_s = _plan_ready_contacts(plan, course, stepper)
    side, number = plan.first_side, 1
    while touchdown_s < course.stop_s - 0.62:
        step = stepper.plan_step(number, touchdown_s, side)
        toe_off_s = touchdown_s + step.contact_s
        travel_m = course.locate_hips(toe_off_s) - course.locate_hips(touchdown_s)
        ball_m = course.locate_hips(touchdown_s) + compute_ball_ahead_of_hip(
            plan.body, step.posture, travel_m
        )
        half = 0.035 + 0.055 * (1.0 - step.posture.upright) + 0.02 * (step.kind == "walk")
        left_m = half if side == "left" else -half
        left_m += 0.01 * float(stepper.rng.standard_normal())
        stances.append(
            Stance(
                side,
                touchdown_s,
                toe_off_s,
                ball_m,
                left_m,
                step.posture,
                step.kind,
                *stepper.draw_ground(touchdown_s, step.contact_s),
            )
        )
        touchdown_s += step.step_s
        side, number = find_other_side(side), number + 1
    return Schedule((*stances, *_plan_standing_contacts(plan, course, stances, touchdown_s)))


def _plan_standing_contacts(
    plan: RunPlan, course: Course, before: list[Stance], touchdown_s: float
) -> list[Stance]:
    """The last contact of each foot, side by side."""
    rng = np.random.default_rng([plan.seed, 2])
    side = find_other_side(before[-1].side)
    posture = make_slow_posture(plan.technique, 1.35)
    posture = replace(posture, pitch_touchdown_deg=8.0, shin_touchdown_deg=98.0)
    at_m = (
        course.locate_hips(course.stop_s + 0.5)
        + plan.body.ball_from_heel_m
        - plan.body.ankle_from_heel_m
    )
    second_s = max(touchdown_s + 0.62, before[-1].toe_off_s + 0.35)
    shift_m = 0.02 * float(rng.standard_normal())
    last: Side = find_other_side(side)
    ground = plan.technique.ground
    return [
        Stance(
            side, down_s, np.inf, place_m, _STAND_LEFT_M[side], posture, "stand", ground, 1.0, 0.0
        )
        for side, down_s, place_m in (
            (side, touchdown_s, at_m),
            (last, second_s, at_m + shift_m),
        )
    ]
