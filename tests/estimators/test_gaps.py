"""Missing samples: what they touch is uncertain, what they do not touch is left alone."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.motion import Motion
from imuproc.estimators.gaps import (
    compute_stride_doubt_m,
    find_gaps,
    flag_gaps,
    widen_near_gaps,
)
from tests.estimators.made_motion import TIME_S, conditioned, steady
from tests.usual import GAPS


def flagged(found, name="gap"):
    """Rows and sites of one kind of flag."""
    return [(f.step - 1, f.site) for f in flag_gaps(STEPS, found) if f.name == name]


STEPS = steady("left", 0.25, 0.12, 10)
"""Left at 10.5, 11.0, ...; right at 10.75, 11.25, ...; toe-off 0.12 s later."""


def gaps_of(**gaps: tuple[float, float]):
    return find_gaps(conditioned(**gaps), STEPS, *GAPS)


def test_without_gaps_nothing_changes() -> None:
    found = gaps_of()
    assert all(len(one.start_s) == 0 for one in found.values())
    same = widen_near_gaps(STEPS, found)
    assert np.array_equal(same.touchdown_u_s, STEPS.touchdown_u_s)
    assert np.array_equal(same.toe_off_u_s, STEPS.toe_off_u_s)
    assert flagged(found) == []
    assert not found["left_foot"].compute_angle_part_rad(TIME_S).any()


def test_an_angle_is_in_doubt_from_the_stance_before_the_gap_to_the_stance_after_it() -> None:
    found = gaps_of(left_foot=(11.2, 11.3))["left_foot"]  # in the swing from 11.12 to 11.5
    part = np.degrees(found.compute_angle_part_rad(TIME_S))
    touched = (TIME_S > 11.06 + 0.002) & (TIME_S < 11.56 - 0.002)
    assert part[touched].min() == part.max() > 1.0
    assert part[(TIME_S < 11.05) | (TIME_S > 11.57)].max() == 0.0


def test_a_longer_gap_costs_more() -> None:
    cost = [
        gaps_of(left_foot=(11.2, 11.2 + width))["left_foot"].angle_u_rad[0]
        for width in (0.01, 0.03, 0.1)
    ]
    assert np.degrees(cost[0]) < 0.1
    assert cost[0] < cost[1] < cost[2]
    assert np.degrees(cost[2]) > 3.0


def test_events_near_a_gap_are_as_uncertain_as_it_is_long() -> None:
    wide = widen_near_gaps(STEPS, gaps_of(left_foot=(11.02, 11.07)))
    assert wide.touchdown_u_s[2] == pytest.approx(0.025, abs=0.002)  # half of the gap
    untouched = np.delete(np.arange(10), 2)
    assert np.array_equal(wide.touchdown_u_s[untouched], STEPS.touchdown_u_s[untouched])
    assert np.array_equal(wide.toe_off_u_s, STEPS.toe_off_u_s)
    # Events come from the foot: a gap of the shank beside it does not matter.
    same = widen_near_gaps(STEPS, gaps_of(left_shank=(11.0, 11.05)))
    assert np.array_equal(same.touchdown_u_s, STEPS.touchdown_u_s)


def test_steps_whose_swing_or_contact_has_a_gap_are_named() -> None:
    found = gaps_of(left_foot=(11.2, 11.3), right_shank=(11.27, 11.32))
    # Left: the step at 11.5 (row 4) ends that swing. Right: the contact at 11.25 (row 3).
    assert flagged(found) == [(4, "left_foot"), (3, "right_shank")]
    first = gaps_of(left_foot=(10.2, 10.3))
    assert flagged(first) == [(0, "left_foot")]
    after_the_run = gaps_of(left_foot=(13.2, 13.3), right_foot=(13.5, 13.8))
    assert flagged(after_the_run) == []


STILL = Motion(TIME_S, {})


def test_strides_with_a_gap_of_their_own_foot_are_endlessly_doubtful() -> None:
    found = gaps_of(left_foot=(11.2, 11.3))
    assert compute_stride_doubt_m(STEPS, found, "left", STILL).tolist() == [0.0, np.inf, 0.0, 0.0]
    assert not compute_stride_doubt_m(STEPS, found, "right", STILL).any()


def test_steps_that_turned_beyond_the_gyroscopes_range_are_named() -> None:
    based = conditioned()
    shank = replace(based.segments["right_shank"], gyro_clipped=np.abs(TIME_S - 11.65) < 0.004)
    found = find_gaps(
        replace(based, segments={**based.segments, "right_shank": shank}), STEPS, *GAPS
    )
    # Within the swing from 11.37 to 11.75, which the step in row 5 ends.
    assert flagged(found, "gyro_clipped") == [(5, "right_shank")]
    assert flagged(found) == []


def test_clipped_samples_make_their_stride_doubtful() -> None:
    """10 ms beyond the range at 60 m/s² are 0.6 m/s, which over a stride of 0.5 s are 7.5 cm."""
    based = conditioned()
    foot = based.segments["left_foot"]
    clipped = (TIME_S > 11.2) & (TIME_S < 11.211)
    found = find_gaps(
        replace(
            based, segments={**based.segments, "left_foot": replace(foot, accel_clipped=clipped)}
        ),
        STEPS,
        *GAPS,
    )
    doubt = compute_stride_doubt_m(STEPS, found, "left", STILL)
    assert doubt[1] == pytest.approx(0.075, abs=0.01)
    assert doubt[[0, 2, 3]].tolist() == [0.0, 0.0, 0.0]


def test_a_log_that_ends_within_the_run_takes_what_comes_after_it() -> None:
    found = gaps_of(right_foot=(12.0, 16.0))["right_foot"]
    part = found.compute_angle_part_rad(TIME_S)
    assert np.degrees(part[TIME_S > 12.2].min()) > 90.0
    assert part[TIME_S < 11.7].max() == 0.0
