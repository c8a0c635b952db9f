"""Which contacts are running steps: cases that can be counted by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imuproc.events.selection import select_running_contacts
from tests.events.made_contacts import contacts_of, gait
from tests.usual import METHOD

# Steps of a jog and of walking, common practice, no source: contact 0.25 s of a stride of 0.7 s;
# 0.63 s of 1.05 s.
JOG = {"step_s": 0.35, "contact_s": 0.25}
WALK = {"step_s": 0.525, "contact_s": 0.63}


def kept(rows: list[tuple[str, float, float]]) -> list[int]:
    """Row numbers of the contacts that are kept."""
    return [
        int(row)
        for row in select_running_contacts(contacts_of(rows), METHOD.selection).evidence["row"]
    ]


def test_every_step_of_a_run_is_kept() -> None:
    assert kept(gait(12, **JOG)) == list(range(12))


def test_walking_is_no_run() -> None:
    assert kept(gait(12, **WALK)) == []


def test_walking_before_and_after_is_left_out() -> None:
    before = gait(6, **WALK)
    run = gait(10, **JOG, start_s=6 * 0.525 + 0.2)
    after = gait(6, **WALK, start_s=run[-1][1] + 0.45)
    assert kept([*before, *run, *after]) == list(range(6, 16))


def test_slowing_steps_are_kept_to_the_last_one_before_walking() -> None:
    # Touchdowns and contact times of a simulated athlete who slows down to a walk.
    times = [(8.00, 0.17), (8.30, 0.19), (8.64, 0.22), (8.99, 0.275)]
    run = gait(10, 0.24, 0.12, start_s=8.0 - 10 * 0.24)
    slow = [(("left", "right")[k % 2], *times[k]) for k in range(4)]
    walk = gait(3, **WALK, start_s=9.37)
    assert kept([*run, *slow, *walk]) == list(range(14))


def test_a_missed_contact_leaves_a_gap_and_not_half_a_run() -> None:
    rows = gait(20, **JOG)
    del rows[9]
    chain = select_running_contacts(contacts_of(rows), METHOD.selection)
    assert len(chain) == 19
    same = chain.side[1:] == chain.side[:-1]
    assert np.flatnonzero(same).tolist() == [8]


def test_two_missed_contacts_part_the_run_and_the_longer_part_stays() -> None:
    rows = gait(20, **JOG)
    del rows[7:9]
    assert kept(rows) == list(range(7, 18))


def test_walking_between_two_runs_parts_them() -> None:
    first = gait(5, **JOG)
    walked = gait(3, **WALK, start_s=5 * 0.35, first="right")
    second = gait(8, **JOG, start_s=walked[-1][1] + 0.5)
    assert kept([*first, *walked, *second]) == list(range(8, 16))


def test_one_contact_far_too_long_inside_a_run_is_a_wrong_event_and_no_walking() -> None:
    rows = gait(14, **JOG)
    rows[6] = (*rows[6][:2], 0.6)
    assert kept(rows) == [k for k in range(14) if k != 6]


@pytest.mark.parametrize("contact_s", [0.09, 0.14])
def test_an_end_with_a_wrong_toe_off_is_left_out(contact_s: float) -> None:
    rows = gait(12, 0.35, 0.3)
    last = [*rows[:-1], (*rows[-1][:2], contact_s)]
    first = [(*rows[0][:2], contact_s), *rows[1:]]
    assert kept(last) == list(range(11))
    assert kept(first) == list(range(1, 12))


def test_the_long_first_contacts_out_of_the_blocks_stay() -> None:
    # Contact times of steps 1 to 8: 193 to 123 ms, a fit to those of five elite athletes
    # (Blauberger, Horsch & Lames 2021, Sensors 21:7331).
    contact = 0.1077 + 0.0852 * np.exp(-np.arange(8) / 4.15)
    rows = [("left" if k % 2 else "right", 0.24 * k, float(contact[k])) for k in range(8)]
    assert kept(rows) == list(range(8))


def test_a_contact_far_longer_than_those_around_it_is_left_out() -> None:
    rows = gait(15, 0.23, 0.12)
    side, touchdown_s, _ = rows[7]
    rows[7] = (side, touchdown_s - 0.16, 0.28)
    chain = select_running_contacts(contacts_of(rows), METHOD.selection)
    assert 7.0 not in chain.evidence["row"]
    assert len(chain) == 14


def test_landing_on_both_feet_is_no_step() -> None:
    jump = [("left", 0.0, 0.4), ("right", 0.02, 0.4)]
    run = gait(8, **JOG, start_s=1.5)
    assert kept([*jump, *run]) == list(range(2, 10))


def test_one_leg_alone_makes_a_chain_of_strides() -> None:
    left = [row for row in gait(20, **JOG) if row[0] == "left"]
    assert kept(left) == list(range(10))
    walking = [row for row in gait(20, **WALK) if row[0] == "left"]
    assert kept(walking) == []


def test_fewer_than_three_steps_are_no_run() -> None:
    assert kept(gait(2, **JOG)) == []
    assert kept([]) == []


@given(
    count=st.integers(8, 40),
    step_s=st.floats(0.2, 0.42),
    duty=st.floats(0.22, 0.45),
    missing=st.integers(3, 36),
    start_s=st.floats(-1e4, 1e4),
)
def test_a_run_of_any_pace_keeps_every_contact_that_was_found(
    count: int, step_s: float, duty: float, missing: int, start_s: float
) -> None:
    rows = gait(count, step_s, 2.0 * step_s * duty, start_s)
    if missing < count - 3:
        del rows[missing]
    assert kept(rows) == list(range(len(rows)))


@given(count=st.integers(3, 20), step_s=st.floats(0.4, 0.54), duty=st.floats(0.58, 0.7))
def test_no_pace_of_walking_is_a_run(count: int, step_s: float, duty: float) -> None:
    assert len(kept(gait(count, step_s, 2.0 * step_s * duty))) < 3
