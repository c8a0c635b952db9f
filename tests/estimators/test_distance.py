"""Stated and measured distance: what runs usually do is no difference, what they cannot do is."""

import numpy as np
import pytest

from imuproc.core.recording import Run
from imuproc.core.result import Distance
from imuproc.estimators.distance import (
    DistanceSettings,
    find_end_of_effort,
    find_fastest_part,
    flag_belt,
    flag_distance,
    measure_distance_between,
)
from tests.estimators.made_motion import steady

USUAL = DistanceSettings()


def way(value_m: float, u_m: float = 0.3) -> Distance:
    return Distance(value_m, u_m, {"stride": u_m})


def compared(stated_m: float | None, effort_m: float, whole_m: float | None = None, **run) -> bool:
    """Whether a run is flagged; 12 m of slowing where nothing is said."""
    whole = way(effort_m + 12.0 if whole_m is None else whole_m)
    flags = flag_distance(Run("R07-01", distance_m=stated_m, **run), way(effort_m), whole, USUAL)
    assert [flag.name for flag in flags] in ([], ["distance_differs"])
    return bool(flags)


@pytest.mark.parametrize(
    ("stated_m", "effort_m", "differs"),
    [
        (40.0, 40.0, False),
        (40.0, 38.6, False),  # step 1 landed 1.4 m beyond the line
        (40.0, 36.3, False),  # and the athlete eased up a step early
        (40.0, 45.5, False),  # ran well through the line
        (40.0, 30.0, True),
        (30.0, 40.0, True),
        (20.0, 30.0, True),
        (20.0, 10.5, True),
        (100.0, 70.0, False),  # speed faded from 70 m on
        (100.0, 50.0, True),
        (None, 40.0, False),
    ],
)
def test_only_what_a_run_cannot_explain_is_flagged(
    stated_m: float | None, effort_m: float, differs: bool
) -> None:
    whole_m = max(stated_m or 0.0, effort_m) + 12.0
    assert compared(stated_m, effort_m, whole_m, start="blocks") == differs


def test_feet_that_never_came_so_far_are_flagged_even_where_speed_faded() -> None:
    assert compared(60.0, 50.0, 55.0)
    assert not compared(60.0, 50.0, 62.0)


def test_a_doubtful_distance_contradicts_nothing() -> None:
    run = Run("R07-01", distance_m=30.0)
    assert flag_distance(run, way(40.0, 0.3), None, USUAL)
    assert not flag_distance(run, way(40.0, 2.5), None, USUAL)
    assert not flag_distance(run, None, None, USUAL)


def test_a_rolling_start_may_have_any_run_up_but_must_reach_the_finish() -> None:
    assert not compared(30.0, 55.0, start="rolling")
    assert compared(30.0, 20.0, 22.0, start="rolling")


def test_the_way_on_a_treadmill_is_not_compared() -> None:
    assert not compared(400.0, 120.0, surface="treadmill")


def test_both_numbers_are_told() -> None:
    (flag,) = flag_distance(Run("R07-01", distance_m=30.0), way(41.23), None, USUAL)
    found = {"covered_m": 41.23, "covered_u_m": pytest.approx(0.3), "stated_m": 30.0}
    assert flag.values == found
    assert flag.step is None


@pytest.mark.parametrize(
    ("stated_mps", "differs"), [(None, False), (3.5, False), (3.4, False), (3.9, True), (3.0, True)]
)
def test_the_belt_is_held_against_the_mean_speed(stated_mps: float | None, differs: bool) -> None:
    contacts = steady("left", 0.35, 0.25, 8)
    run = Run("R07-01", surface="treadmill", belt_speed_mps=stated_mps)
    distance = way(3.5 * 6 * 0.35, 0.1)
    flags = flag_belt(run, contacts, (1, 7), distance, USUAL)
    assert [flag.name for flag in flags] == ["belt_speed_differs"] * differs
    if differs:
        assert flags[0].values["found_mps"] == pytest.approx(3.5, abs=0.005)
        assert flags[0].values["stated_mps"] == stated_mps
    assert flag_belt(run, contacts, (1, 7), None, USUAL) == []


def test_where_the_effort_ends() -> None:
    phase = np.array(["drive"] * 2 + ["transition"] * 2 + ["upright"] * 3 + ["slowing"] * 2)
    assert find_end_of_effort(phase) == 7  # where the last upright step ends
    assert find_end_of_effort(phase[:7]) == 6
    assert find_end_of_effort(phase[:0]) == -1


def test_the_belt_counts_where_it_is_fastest() -> None:
    speed = np.concatenate((np.linspace(2.0, 4.0, 8), np.full(20, 4.0), np.linspace(4.0, 2.0, 8)))
    first, last = find_fastest_part(speed + 0.2 * (-1.0) ** np.arange(36), 0.97)
    assert speed[first:last].min() > 3.7
    assert last - first >= 20
    assert find_fastest_part(np.full(12, 4.0), 0.97) == (2, 10)


@pytest.mark.parametrize("speed", [[], [4.0] * 4, [np.nan] * 9, [4.0, np.nan, 4.0] * 3])
def test_without_speeds_there_is_no_fastest_part(speed: list[float]) -> None:
    assert find_fastest_part(np.array(speed), 0.97) == (0, 0)


def test_without_lengths_there_is_no_distance() -> None:
    assert measure_distance_between(None, np.full(5, 1.8), 0, 4) is None
    assert measure_distance_between(None, np.empty(0), 0, -1) is None
