"""Course of a made-up run."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.synth.course import make_course
from tests.synth.made_runs import athlete


def test_speed_follows_the_exponential_and_the_distance_is_run() -> None:
    plan = replace(athlete(), distance_m=40.0, vmax_mps=9.5, tau_s=1.2)
    course = make_course(plan)
    # v = vmax (1 - exp(-t / tau)): the missing speed shrinks by 1/e in every tau.
    missing = [9.5 - course.interpolate_speed(course.exit_s + lag_s) for lag_s in (0.3, 1.5)]
    assert missing[0] / missing[1] == pytest.approx(np.e, rel=0.01)
    assert course.locate_hips(course.effort_end_s) == pytest.approx(40.0, abs=0.1)


def test_the_athlete_stands_before_and_after() -> None:
    plan = athlete()
    course = make_course(plan)
    assert course.interpolate_speed(plan.stand_before_s) == 0.0
    assert course.interpolate_speed(course.stop_s + 0.3) == pytest.approx(0.0, abs=1e-6)
    assert course.time_s[-1] - course.stop_s > plan.stand_after_s


def test_the_set_position_is_held_after_a_slow_sink() -> None:
    course = make_course(replace(athlete(), hold_s=1.1))
    assert course.go_s - course.set_s == pytest.approx(1.1)
    assert course.set_s - course.marks_s > 2.0


@pytest.mark.parametrize("distance_m", [20.0, 60.0])
def test_slowing_takes_the_stated_distance(distance_m: float) -> None:
    plan = replace(athlete(), distance_m=distance_m, slow_distance_m=11.0)
    course = make_course(plan)
    assert course.locate_hips(course.walk_s) - course.locate_hips(
        course.effort_end_s
    ) == pytest.approx(11.0, abs=0.3)
