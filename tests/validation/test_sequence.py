import numpy as np
import pytest

from imuproc.agreement.alignment.clock import ClockError
from imuproc.agreement.alignment.sequence import Durations, align_sequences, make_durations
from scripts.clock_studies import Contacts, draw_sprint


def seen(rng: np.random.Generator, true: Contacts, rows: np.ndarray, longer: float) -> Durations:
    """Contact and flight times of some contacts, as photocells would give them."""
    down = true.touchdown_s[rows] + 0.002 * rng.standard_normal(len(rows))
    off = true.toe_off_s[rows] + 0.002 * rng.standard_normal(len(rows)) + longer
    flight = np.append(down[1:] - off[:-1], np.nan)
    return make_durations(np.full(len(rows), ""), off - down, flight)


@pytest.mark.parametrize("seed", range(8))
def test_contacts_pair_although_both_miss_some_and_contact_times_differ(seed: int) -> None:
    rng = np.random.default_rng([31, seed])
    true = draw_sprint(rng)
    n = len(true.side)
    ours, theirs = (np.flatnonzero(rng.random(n) > 0.15) for _ in range(2))
    theirs = theirs[3:]
    # Photocells read contacts 12 to 14 ms long against force plates (2025, Int J Sports Sci
    # Coaching, 10.1177/17479541251333937).
    found = align_sequences(seen(rng, true, ours, 0.0), seen(rng, true, theirs, 0.012))
    assert np.array_equal(ours[found.table], theirs[found.reference])
    assert len(found.table) >= 4
    pairs = len(found.table) + len(found.doubtful_table)
    assert pairs >= 0.8 * len(np.intersect1d(ours, theirs))
    assert found.contact_bias_s == pytest.approx(0.012, abs=0.004)


@pytest.mark.parametrize("uneven", [0.0, 0.01])
def test_equal_steps_are_refused(uneven: float) -> None:
    rng = np.random.default_rng(32)
    down = np.cumsum(0.33 + uneven * (-1.0) ** np.arange(30))
    true = Contacts(np.full(30, ""), down, down + 0.2)
    every = np.arange(30)
    with pytest.raises(ClockError, match="without doubt"):
        align_sequences(seen(rng, true, every, 0.0), seen(rng, true, every, 0.012))


def test_few_contacts_are_refused() -> None:
    few = make_durations(["", "", ""], [0.1] * 3, [0.1] * 3)
    with pytest.raises(ClockError, match="found 3 in the table and 3 in the reference, needed 4"):
        align_sequences(few, few)
