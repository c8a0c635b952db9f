"""Quiet standing around a run: the set position, a bent-over rest and a slow sink are not it."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.axes.standing import find_standing, restrict_standing
from imuproc.conditioning.axes.stillness import StillnessSettings, find_rests
from imuproc.core.recording import Interval
from tests.conditioning.made_legs import RUN, SET, STAND, Hold, made, timebased
from tests.usual import METHOD

LEGS = ("left_shank", "left_foot", "right_shank", "right_foot")
MARKS = Hold(5.0, shank_deg=-62.0, foot_deg=-50.0)
BENT = Hold(4.0, shank_deg=-18.0, foot_deg=0.0)
SWAY = Hold(3.0, running=True)


def standing(holds, run, start="crouch", sites=LEGS):
    """What is found around the hold of that number, and the made-up signals."""
    signals = made(holds, sites)
    return found_in(timebased(signals, start=start), signals.run(run)), signals


def found_in(based, run):
    rests = {
        site: find_rests(
            based.time_s, own.accel_mps2, own.gyro_radps, based.rate_hz, StillnessSettings()
        )
        for site, own in based.sites.items()
    }
    return find_standing(based, rests, run, 0.7, METHOD.calibration.standing)


def names(found) -> list[str]:
    return [flag.name for flag in found.flags]


def assert_is(part: Interval | None, span: Interval) -> None:
    """A stretch within one of the holds, most of it."""
    assert part is not None
    assert span.start_s - 0.4 < part.start_s < part.end_s < span.end_s + 0.4
    assert part.duration_s > 0.7 * span.duration_s


@pytest.mark.parametrize("start", ["blocks", "three-point", "crouch", "standing", "rolling"])
def test_standing_before_and_after(start: str) -> None:
    found, signals = standing([STAND, RUN, STAND], 1, start)
    assert_is(found.before, signals.spans[0])
    assert_is(found.after, signals.spans[2])
    assert names(found) == []


@pytest.mark.parametrize("hold", [SET, MARKS, Hold(9.0, shank_deg=-50.0, foot_deg=-40.0)])
def test_the_set_position_is_not_standing_however_long_it_is_held(hold: Hold) -> None:
    found, signals = standing([STAND, hold, RUN, STAND], 2)
    assert_is(found.before, signals.spans[0])
    assert_is(found.after, signals.spans[3])
    assert names(found) == []


def test_without_standing_after_the_first_posture_is_standing_and_the_last_is_not() -> None:
    found, signals = standing([STAND, MARKS, SET, RUN], 3)
    assert_is(found.before, signals.spans[0])
    assert found.after is None
    assert names(found) == ["no_standing_after"]


def test_without_standing_before_the_one_after_is_used() -> None:
    found, signals = standing([SET, RUN, STAND], 1)
    assert found.before is None
    assert_is(found.after, signals.spans[2])
    assert names(found) == ["no_standing_before"]


@pytest.mark.parametrize("holds", [[RUN], [SET, RUN], [Hold(0.3), RUN]])
def test_no_standing_at_all(holds: list[Hold]) -> None:
    found, _ = standing(holds, len(holds) - 1)
    assert (found.before, found.after) == (None, None)
    assert names(found) == ["no_standing"]


def test_a_slow_sink_from_marks_to_set_is_not_standing() -> None:
    sink = Hold(4.0, shank_deg=-30.0, foot_deg=-30.0, sink_deg=-8.0)
    found, _ = standing([sink, SET, RUN], 2)
    assert found.before is None
    assert names(found) == ["no_standing"]


def test_bending_over_after_the_run_does_not_take_the_place_of_standing() -> None:
    found, signals = standing([STAND, SET, RUN, BENT], 2)
    assert_is(found.before, signals.spans[0])
    assert found.after is None
    assert set(names(found)) == {"no_standing_after", "standing_differs"}


def test_standing_is_found_beside_a_longer_bend() -> None:
    found, signals = standing([STAND, SET, RUN, BENT, Hold(2.0)], 2)
    assert_is(found.before, signals.spans[0])
    assert_is(found.after, signals.spans[4])
    assert names(found) == []


def test_a_sensor_that_slipped_is_flagged_with_how_far() -> None:
    slipped = Hold(3.0, shank_deg=6.0)
    found, signals = standing([STAND, RUN, slipped], 1)
    assert_is(found.before, signals.spans[0])
    assert [(f.name, f.site) for f in found.flags] == [
        ("standing_differs", "left_shank"),
        ("standing_differs", "right_shank"),
    ]
    assert [f.values["by_deg"] for f in found.flags] == pytest.approx([6.0, 6.0], abs=0.05)


def test_one_of_four_sensors_that_slipped_far_does_not_cost_the_standing() -> None:
    signals = made([STAND, RUN, STAND], LEGS)
    based = timebased(signals, start="crouch")
    after = based.time_s > signals.spans[1].end_s
    own = based.sites["left_shank"]
    turned = np.where(after[:, None], own.accel_mps2[:, [2, 1, 0]], own.accel_mps2)
    sites = {**based.sites, "left_shank": replace(own, accel_mps2=turned)}
    found = found_in(replace(based, sites=sites), signals.run(1))
    assert_is(found.after, signals.spans[2])
    assert [(f.name, f.site) for f in found.flags] == [("standing_differs", "left_shank")]


def test_a_standing_start_may_follow_its_standing_at_once() -> None:
    signals = made([STAND, RUN, STAND], LEGS)
    based = timebased(signals, start="standing")
    rests = {
        site: find_rests(
            based.time_s, own.accel_mps2, own.gyro_radps, based.rate_hz, StillnessSettings()
        )
        for site, own in based.sites.items()
    }
    # The search for runs adds a margin: the run begins within the standing.
    early = Interval(signals.spans[0].end_s - 0.7, signals.spans[1].end_s + 0.8)
    found = find_standing(based, rests, early, 0.7, METHOD.calibration.standing)
    assert_is(found.before, signals.spans[0])
    assert names(found) == []


def test_standing_of_long_ago_is_another_occasion() -> None:
    found, _ = standing([Hold(5.0), Hold(63.0, running=True), RUN], 2)
    assert found.before is None


def test_a_swaying_pelvis_does_not_take_the_standing_from_the_legs() -> None:
    signals = made([STAND, RUN, STAND], (*LEGS, "pelvis"))
    swaying = made([SWAY, RUN, STAND], ("pelvis",))
    signals.accel_mps2["pelvis"] = swaying.accel_mps2["pelvis"]
    signals.gyro_radps["pelvis"] = swaying.gyro_radps["pelvis"]
    based = timebased(signals)
    rests = {
        site: find_rests(
            based.time_s, own.accel_mps2, own.gyro_radps, based.rate_hz, StillnessSettings()
        )
        for site, own in based.sites.items()
    }
    found = find_standing(based, rests, signals.run(1), 0.7, METHOD.calibration.standing)
    assert_is(found.before, signals.spans[0])
    assert names(found) == []
    pelvis = restrict_standing(found, rests["pelvis"], 0.7)
    assert pelvis.before is None  # its own zero comes from the standing after the run
    assert_is(pelvis.after, signals.spans[2])
