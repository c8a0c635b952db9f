"""Settings that show on no short recording: each shows in one stage, on signals made for it.

By place: another value, and what the stage makes of its input with given settings.
"""

from collections.abc import Callable
from functools import cache
from typing import Any, Final

import numpy as np

from imuproc.conditioning.axes.segment_axes import drop_brief_rests
from imuproc.core.recording import Interval, Run
from imuproc.core.result import Distance
from imuproc.estimators.distance import find_fastest_part, flag_belt
from imuproc.estimators.phase import StepSpeeds, find_phases
from imuproc.estimators.sides import _measure_placement
from imuproc.estimators.upright import is_zero_upright
from imuproc.events.marks import find_toe_off_marks
from imuproc.events.progress import measure_stride_lengths
from imuproc.events.selection import select_running_contacts
from imuproc.events.toe_off import find_toe_offs
from imuproc.events.unaided import find_marked_events
from imuproc.pipeline.settings import Settings
from tests.estimators.made_motion import steady
from tests.estimators.test_upright import posture
from tests.events.made_contacts import contacts_of, gait
from tests.events.test_marks import CYCLE, bump, leg
from tests.events.test_progress import drill_logs, track
from tests.events.test_unaided import marks

Stage = Callable[[Settings], Any]


def _select(rows: list[tuple[str, float, float]], settings: Settings) -> list[int]:
    chain = select_running_contacts(contacts_of(rows), settings.selection)
    return [int(row) for row in chain.evidence["row"]]


def select_jog(settings: Settings) -> list[int]:
    """A jog without its tenth contact, whose first contact is short, with a hop in its middle."""
    rows = gait(20, 0.35, 0.25)
    rows[0] = (*rows[0][:2], 0.13)
    del rows[9]
    return _select(rows, settings)


def select_double_support(settings: Settings) -> list[int]:
    """Steps that overlap by 15 ms at each change of feet."""
    rows = gait(12, 0.35, 0.365)
    return _select(rows, settings)


def select_hops(settings: Settings) -> list[int]:
    """A jog of which every third contact was not found."""
    rows = [row for k, row in enumerate(gait(24, 0.35, 0.25)) if k % 3 != 2]
    return _select(rows, settings)


def mark_unaided(settings: Settings) -> list[float]:
    """A foot alone: the fall of force 14 ms before what the turn of the foot tells."""
    given = {"push_off_s": 1.24, "foot_turn_s": 1.254}
    return _mark(settings, **given)


def mark_turn_alone(settings: Settings) -> list[float]:
    return _mark(settings, foot_turn_s=1.254)


def _mark(settings: Settings, **given: float) -> list[float]:
    made = marks(jerk_onset_s=0.998, **given)
    found = find_marked_events(made, settings.unaided, settings.fusion)
    return [*found.toe_off_s.tolist(), *found.toe_off_u_s.tolist()]


def mark_toe_off(settings: Settings) -> list[float]:
    """All four marks of a toe-off, in a cycle between those of jogs and sprints."""
    evidence = {
        "toe_s": 1.250,
        "lift_s": 1.252,
        "shank_off_s": 1.262,
        "push_off_s": 1.244,
        "toe_growth_mps2": 20.0,
        "lift_mps": 0.8,
        "slowing_mps": 0.1,
        "cycle_s": 0.36,
    }
    made = {name: np.array([value]) for name, value in evidence.items()}
    found = find_toe_offs(made, settings.refine.toe_off, settings.fusion)
    return [*found.time_s.tolist(), *found.u_s.tolist()]


def find_uneven_phases(settings: Settings) -> list[str]:
    """A sprint whose left steps are longer, and hardly known speeds."""
    number = np.arange(1.0, 25.0)
    speed = 9.5 * (1.0 - np.exp(-(0.45 + 0.23 * (number - 1.0)) / 1.25))
    speed = speed * np.where(number % 2 == 1, 1.06, 0.94)
    steps = StepSpeeds(number, number % 2 == 1, speed, np.full(24, 0.2))
    found = find_phases(steps, "blocks", settings.estimators.phase)
    return [*found.phase, *found.alternative]


def compare_belt(settings: Settings) -> list[str]:
    """A belt that runs 6 % faster than stated."""
    contacts = steady("left", 0.35, 0.25, 8)
    run = Run("R07-01", surface="treadmill", belt_speed_mps=3.5)
    way = Distance(1.06 * 3.5 * 6 * 0.35, 0.02, {"stride": 0.02})
    return [f.name for f in flag_belt(run, contacts, (1, 7), way, settings.estimators.distance)]


def find_fast_steps(settings: Settings) -> tuple[int, int]:
    speed = np.concatenate((np.linspace(2.0, 4.0, 8), np.full(20, 4.0), np.linspace(4.0, 2.0, 8)))
    return find_fastest_part(speed, settings.estimators.distance.fast_share)


def place_segments(settings: Settings) -> float:
    return _measure_placement(-0.4, 1.6, 1.5, settings.estimators.sides)


def judge_few_contacts(settings: Settings) -> bool:
    """Six contacts of a foot that stands on its toes."""
    steps = steady("left", 0.25, 0.12, 6)
    return is_zero_upright(posture("left_foot", 60.0), steps, settings.estimators.upright)


def mark_strong_turn(settings: Settings) -> float:
    """A foot that turns strongly as its force falls, and more so later."""
    turn = -bump(0.5, 0.015, 8.0) - bump(0.58, 0.02, 12.0)
    push = 40.0 * np.clip((0.55 - leg().time_s) / 0.1, 0.0, 1.0)
    found = find_toe_off_marks(leg(foot_turn=turn, push=push), CYCLE, settings.coarse.marks)
    return float(found.foot_turn_s)


def drop_sinking(settings: Settings) -> int:
    """A trunk that sinks at 12 deg/s for 1.2 s before the run, and rests for 3 s after it."""
    time_s = np.arange(0.0, 12.0, 0.01)
    gyro = np.zeros((len(time_s), 3))
    gyro[time_s < 2.0, 1] = np.radians(12.0)
    rests = (Interval(0.5, 1.7), Interval(8.5, 11.5))
    running = (time_s > 2.0) & (time_s < 8.0)
    axes = settings.calibration.axes
    return len(drop_brief_rests("trunk", time_s, gyro, rests, running, axes))


@cache
def _track_drill() -> Any:
    return track(drill_logs("heel-flicks", 1)["left_foot"])


def measure_drill(settings: Settings) -> list[float]:
    return measure_stride_lengths(_track_drill(), "left_foot", settings.runs.progress).tolist()


EFFECTS: Final[dict[str, tuple[float, Stage]]] = {
    "calibration.axes.brief_rest_share": (0.1, drop_sinking),
    "selection.missed_steps": (1.0, select_jog),
    "selection.end_contact_share": (0.0, select_jog),
    "selection.double_support_s": (0.0, select_double_support),
    "selection.most_hops": (1.0, select_hops),
    "unaided.push_agree_s": (0.0, mark_unaided),
    "unaided.push_lag_s": (0.02, mark_unaided),
    "unaided.push_u_s": (0.05, mark_unaided),
    "unaided.turn_u_s": (0.05, mark_turn_alone),
    "refine.toe_off.push_lag_s": (0.02, mark_toe_off),
    "refine.toe_off.push_u_s": (0.05, mark_toe_off),
    "refine.toe_off.push_sprint_u_s": (0.1, mark_toe_off),
    "refine.toe_off.sprint_cycle_s": (0.31, mark_toe_off),
    "refine.toe_off.sprint_ramp_s": (0.5, mark_toe_off),
    "estimators.phase.side_scatter_share": (0.001, find_uneven_phases),
    "estimators.distance.belt_share": (0.2, compare_belt),
    "estimators.distance.fast_share": (0.5, find_fast_steps),
    "estimators.sides.usual_faster_log": (2.0, place_segments),
    "estimators.sides.usual_more_log": (2.0, place_segments),
    "estimators.upright.fewest_contacts": (20, judge_few_contacts),
    "coarse.marks.strong_turn_share": (0.5, mark_strong_turn),
    "runs.progress.cutoff_hz": (1.0, measure_drill),
    "runs.progress.least_swing_radps": (20.0, measure_drill),
    "runs.progress.shortest_stride_s": (1.0, measure_drill),
    "runs.progress.quiet_s": (0.3, measure_drill),
    "runs.progress.gravity_s": (0.5, measure_drill),
}
