import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imuproc.agreement.alignment.matching import (
    ContactTimes,
    count_detection,
    match_contacts,
    match_times,
)

NONE = [np.nan] * 3


def test_as_many_as_possible_then_the_nearest() -> None:
    # Taking the nearest first would pair 0.040 with 0.045 and leave two alone.
    found = match_times([0.0, 0.040], [0.045, 0.085], 0.05)
    assert found.table.tolist() == [0, 1]
    assert found.reference.tolist() == [0, 1]


def test_one_to_one_and_within_the_window() -> None:
    found = match_times([1.0, 1.01, 2.0], [1.005, 2.2], 0.05)
    assert len(found.table) == 1
    assert found.reference_only.tolist() == [1]
    assert len(found.table_only) == 2


def test_known_sides_are_kept_apart_and_unknown_ones_match_any() -> None:
    down = [1.0, 1.3, 1.6]
    ours = ContactTimes(["left", "right", "left"], down, NONE)
    apart = match_contacts(ours, ContactTimes(["right", "right", ""], down, NONE), 0.05)
    assert apart.table.tolist() == [1, 2]


def test_toe_off_serves_where_touchdown_is_unknown() -> None:
    found = match_contacts(
        ContactTimes(["left"] * 2, [1.0, np.nan], [1.2, 1.7]),
        ContactTimes(["left"] * 2, [np.nan, 1.5], [1.21, 1.71]),
        0.05,
    )
    assert found.reference.tolist() == [0, 1]


def test_a_window_must_be_positive() -> None:
    with pytest.raises(ValueError, match="window_s must be positive"):
        match_times([1.0], [1.0], 0.0)


times = st.lists(st.floats(0, 5), max_size=12)


@given(times, times)
def test_nobody_is_lost_or_matched_twice(ours: list[float], theirs: list[float]) -> None:
    found = match_times(ours, theirs, 0.1)
    assert sorted([*found.table, *found.table_only]) == list(range(len(ours)))
    assert sorted([*found.reference, *found.reference_only]) == list(range(len(theirs)))
    back = match_times(theirs, ours, 0.1)
    assert len(back.table) == len(found.table)


def test_counts_become_shares() -> None:
    row = count_detection(863, 26, 0).to_row()
    assert row["recall"] == pytest.approx(863 / 889)
    # Wilson 1927; computed
    assert round(row["recall_low"], 4) == 0.9575
    assert row["precision"] == 1.0
