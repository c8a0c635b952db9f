"""Order and timing of the contacts of a made-up run."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from imuproc.synth.course import make_course
from imuproc.synth.plan import Technique
from imuproc.synth.schedule import Schedule, make_schedule
from tests.synth.made_runs import athlete


def schedule(**changes: object) -> Schedule:
    """Schedule of the usual athlete with something changed."""
    plan = replace(athlete(), **changes)  # type: ignore[arg-type]
    return make_schedule(plan, make_course(plan))


def test_sides_alternate_and_the_rear_foot_steps_first() -> None:
    stances = schedule(first_side="left").stances
    sides = [s.side for s in stances]
    assert sides[0] == "left"
    assert sides[2] == "left"
    assert all(a != b for a, b in pairwise(sides))


def test_the_rear_foot_leaves_first_and_both_leave_before_step_1() -> None:
    rear, front, first = schedule().stances[:3]
    assert rear.toe_off_s < front.toe_off_s < first.touchdown_s
    # First flight 45 to 64 ms in published starts (Ciacci et al. 2017, J Sports Sci 35:1270).
    assert 0.030 < first.touchdown_s - front.toe_off_s < 0.080


def test_contact_times_are_the_published_ones_when_set_to_them() -> None:
    plan = schedule(technique=Technique(), contact_sd_s=0.0, distance_m=60.0)
    contact = [s.toe_off_s - s.touchdown_s for s in plan.stances if s.kind == "run"]
    # Blauberger, Horsch & Lames 2021, Sensors 21:7331, table 1.
    assert 1e3 * np.mean(contact[:5]) == pytest.approx(163.45, abs=1.0)
    assert 1e3 * np.mean(contact[5:15]) == pytest.approx(118.43, abs=1.0)
    assert 1e3 * np.mean(contact[15:25]) == pytest.approx(109.32, abs=1.0)


def test_steps_grow_and_running_feet_do_not_overlap() -> None:
    running = [s for s in schedule(distance_m=40.0).stances if s.kind == "run"]
    length = np.diff([s.ball_m for s in running])
    assert 0.8 < length[0] < 1.4  # step 1: 0.82 to 1.37 m in seniors (Ciacci et al. 2017)
    assert length[:20].max() > 1.75
    for before, after in pairwise(running):
        assert after.touchdown_s > before.toe_off_s - 0.05


def test_walking_steps_overlap_and_the_run_ends_on_two_feet() -> None:
    stances = schedule(walk_steps=4).stances
    walking = [s for s in stances if s.kind == "walk"]
    assert len(walking) >= 3
    assert walking[1].touchdown_s < walking[0].toe_off_s
    assert [s.kind for s in stances[-2:]] == ["stand", "stand"]
    assert abs(stances[-1].ball_m - stances[-2].ball_m) < 0.1


def test_asymmetry_shows_in_contact_time() -> None:
    stances = schedule(faults=("asymmetry",), distance_m=60.0).stances
    contact = {
        side: np.mean([s.toe_off_s - s.touchdown_s for s in stances[12:-12] if s.side == side])
        for side in ("left", "right")
    }
    assert contact["left"] - contact["right"] > 0.004
