"""Course of a made-up run: when it starts and stops, and the speed of the hips in between."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from imuproc.synth.plan import RunPlan

FloatArray = NDArray[np.float64]

GRID_HZ: Final = 2000.0
"""Rate of the fine clock on which motion is made."""

WALK_MPS: Final = 1.35
READY_S: Final = 1.6
"""Time to move from standing into the marks (feet placed, body lowered)."""
SINK_S: Final = 1.3
"""Time of the slow move from the marks into the set position."""
EXIT_SHARE: Final = 0.34
"""Speed at the front foot's departure as a share of top speed (block exit velocities of 3.2 to
3.6 m/s are published for the start, Bezodis et al. 2019)."""


@dataclass(frozen=True, eq=False)
class Course:
    """Speed of the hips through the whole recording.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Regular fine clock from 0.
    forward_m : ndarray, shape (n,)
        Where the hips are along the run; 0 at the first movement of the start.
    speed_mps : ndarray, shape (n,)
    marks_s, set_s, go_s, exit_s : float
        Begin of moving into position, end of the sink into set, first movement of the start, front
        foot's departure. ``marks_s`` equals ``go_s`` where there is no set position.
    effort_end_s, walk_s, stop_s : float
        End of the effort (``go_s`` where the pace is steady), begin of walking, standing still.
    """

    time_s: FloatArray
    forward_m: FloatArray
    speed_mps: FloatArray
    marks_s: float
    set_s: float
    go_s: float
    exit_s: float
    effort_end_s: float
    walk_s: float
    stop_s: float

    def locate_hips(self, time_s: float) -> float:
        """Where the hips are at a time, in m."""
        return float(np.interp(time_s, self.time_s, self.forward_m))

    def interpolate_speed(self, time_s: float) -> float:
        """Speed at a time in m/s."""
        return float(np.interp(time_s, self.time_s, self.speed_mps))


def _compute_effort(plan: RunPlan, dt: float) -> tuple[FloatArray, float]:
    """Speed from the first movement until the distance is run, and the time of exit."""
    t = np.arange(0.0, 40.0, dt)
    if plan.start == "rolling":
        roll_s, roll_mps = 2.6, 0.38 * plan.vmax_mps
        ramp = np.clip(t / roll_s, 0.0, 1.0)
        before = roll_mps * (0.35 * ramp + 0.65 * ramp**2)
        exit_s, exit_mps = roll_s, roll_mps
    else:
        exit_s, exit_mps = plan.push_s, EXIT_SHARE * plan.vmax_mps
        before = exit_mps * np.clip(t / exit_s, 0.0, 1.0) ** 1.15
    shift = exit_s + plan.tau_s * np.log(1.0 - exit_mps / plan.vmax_mps)
    after = plan.vmax_mps * (1.0 - np.exp(-(t - shift) / plan.tau_s))
    speed = np.where(t < exit_s, before, after)
    ends = int(np.searchsorted(np.cumsum(speed) * dt, plan.distance_m))
    return speed[:ends], exit_s


def _compute_slowing(plan: RunPlan, top_mps: float, dt: float) -> tuple[FloatArray, float]:
    """Speed from the end of the effort to a stop, and how long the running part lasts."""
    slowing = (top_mps**2 - WALK_MPS**2) / (2.0 * plan.slow_distance_m)
    run_s = (top_mps - WALK_MPS) / slowing
    running = top_mps - slowing * np.arange(0.0, run_s, dt)
    walking = np.full(int(plan.walk_steps * 0.54 / dt), WALK_MPS)
    stopping = WALK_MPS * (1.0 - np.linspace(0.0, 1.0, int(0.9 / dt))) ** 1.3
    return np.concatenate((running, walking, stopping)), run_s


def make_course(plan: RunPlan) -> Course:
    """Speed and phases of a run.

    Parameters
    ----------
    plan : RunPlan

    Returns
    -------
    Course
        With v = vmax (1 - exp(-t / tau)) after the start (the usual form, e.g. de Ruiter & van
        Dieën 2019, Sports 7:202), an even slowing, walking and a stop.
    """
    dt = 1.0 / GRID_HZ
    effort, exit_s = _compute_effort(plan, dt)
    slowing, run_s = _compute_slowing(plan, float(effort[-1]), dt)
    marks_s = plan.stand_before_s
    in_set = plan.start in ("blocks", "three-point", "crouch")
    set_s = marks_s + (READY_S + SINK_S if in_set else READY_S)
    if plan.start == "rolling":
        set_s = marks_s
    go_s = set_s + (0.0 if plan.start == "rolling" else plan.hold_s)
    before = np.zeros(round(go_s / dt))
    after = np.zeros(int((plan.stand_after_s + 1.0) / dt))
    speed = np.concatenate((before, effort, slowing, after))
    speed = gaussian_filter1d(speed, 0.015 / dt)
    slowing_s = go_s + len(effort) * dt
    return Course(
        time_s=np.arange(len(speed), dtype=np.float64) * dt,
        forward_m=np.cumsum(speed) * dt,
        speed_mps=speed,
        marks_s=marks_s,
        set_s=set_s,
        go_s=go_s,
        exit_s=go_s + exit_s,
        effort_end_s=go_s if plan.pace == "steady" else slowing_s,
        walk_s=slowing_s + run_s,
        stop_s=slowing_s + len(slowing) * dt,
    )
