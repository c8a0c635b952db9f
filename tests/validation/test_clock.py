import numpy as np
import pytest

from imuproc.agreement.alignment.clock import ClockError, clock_from_events, clock_from_instant
from imuproc.agreement.events import EventTrain, make_event_train
from scripts.clock_studies import (
    FRAME_S,
    TOLERANCE_S,
    Contacts,
    draw_seen_contacts,
    draw_sprint,
    measure_offset_error,
)


def test_offsets_of_random_studies_are_found() -> None:
    errors = [measure_offset_error(seed, ambiguous=False) for seed in range(40)]
    assert all(not isinstance(e, str) and abs(e) <= TOLERANCE_S for e in errors), errors


def test_studies_made_ambiguous_are_refused() -> None:
    found = [measure_offset_error(seed, ambiguous=True) for seed in range(15)]
    assert all(isinstance(e, str) for e in found), found
    assert "without doubt" in str(found[0])


def swapped(train: EventTrain) -> EventTrain:
    """The same with left and right exchanged."""
    return EventTrain(train.time_s, train.kind, -train.side, train.start_s, train.end_s)


def both(seed: int) -> tuple[EventTrain, EventTrain]:
    """Table and reference of one sprint, 100 s apart."""
    rng = np.random.default_rng(seed)
    true = draw_sprint(rng)
    return draw_seen_contacts(rng, true, 0.0025, 0.0, 0.0), draw_seen_contacts(
        rng, true, 0.0015, 100.0, FRAME_S
    )


def test_exchanged_sides_are_told() -> None:
    table, reference = both(3)
    with pytest.raises(ClockError, match="left and right look exchanged"):
        clock_from_events(table, swapped(reference), FRAME_S)


def test_two_different_runs_are_no_clock() -> None:
    table, _ = both(3)
    _, reference = both(4)
    with pytest.raises(ClockError, match=r"same run|without doubt"):
        clock_from_events(table, reference, FRAME_S)


def test_few_events_are_refused() -> None:
    few = make_event_train(["left"] * 3, [1.0, 1.3, 1.6], [1.1, 1.4, 1.7])
    with pytest.raises(ClockError, match="found 6 in the table and 6 in the reference, needed 8"):
        clock_from_events(few, few, FRAME_S)


def test_a_drift_is_found_over_a_long_run() -> None:
    rng = np.random.default_rng(9)
    down = np.cumsum(0.33 + 0.0045 * rng.standard_normal(150))
    off = down + 0.2 + 0.004 * rng.standard_normal(150)
    side = np.where(np.arange(150) % 2 == 0, "left", "right")
    table = draw_seen_contacts(rng, Contacts(side, down, off), 0.0025, 0.0, 0.0)
    late = Contacts(side, 1.0003 * down, 1.0003 * off)
    clock = clock_from_events(table, draw_seen_contacts(rng, late, 0.0015, 50.0, FRAME_S), FRAME_S)
    assert clock.drift == pytest.approx(300e-6, abs=3.0 * clock.drift_u)
    assert clock.drift_u < 60e-6
    ends = np.array([down[0], down[-1]])
    error = clock.to_reference(ends) - (1.0003 * ends + 50.0)
    assert np.all(np.abs(error) < 3.0 * clock.u_at(ends))


def test_there_and_back() -> None:
    clock = clock_from_instant(10.0, 110.5, 0.002, 50e-6)
    assert clock.to_reference(12.0) == pytest.approx(112.5)
    assert clock.to_table(clock.to_reference([3.0, 40.0])) == pytest.approx([3.0, 40.0])
    assert clock.u_at(10.0) == pytest.approx(0.002)
    assert clock.u_at(50.0) == pytest.approx(np.hypot(0.002, 0.002))
    with pytest.raises(ClockError, match="must be numbers"):
        clock_from_instant(10.0, np.nan, 0.002, 0.0)
