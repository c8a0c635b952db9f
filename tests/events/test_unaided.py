"""Events from marks alone: lags by hand, and real runs within the stated uncertainty."""

import numpy as np
import pytest
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.recording import Recording
from imuproc.events.coarse import find_coarse_contacts
from imuproc.events.selection import select_running_contacts
from imuproc.events.unaided import find_marked_events, find_unaided_contacts
from imuproc.synth.truth import Truth
from tests.events.real_runs import (
    EVERY_FIFTH,
    agreement,
    real_run,
    stretch,
    with_kind,
    without_standing,
)
from tests.shared_data import needs_shared_data
from tests.simulated import USUAL, make_run
from tests.usual import COARSE, METHOD, UNAIDED

JOG_CYCLE_S, SPRINT_CYCLE_S = 0.48, 0.27


def marks(**given: float) -> dict[str, NDArray[np.float64]]:
    """Marks of one contact of a jog; a mark that is not named is missing."""
    usual = {
        "jerk_onset_s": np.nan,
        "jerk_half_s": 1.010,
        "impact_ratio": 1.5,
        "shock_s": np.nan,
        "shock_ratio": 0.0,
        "axial_rise_s": np.nan,
        "cycle_s": JOG_CYCLE_S,
        "push_off_s": np.nan,
        "foot_turn_s": np.nan,
        "shank_off_s": np.nan,
    }
    return {name: np.array([value]) for name, value in {**usual, **given}.items()}


def only_event(events: NDArray[np.float64]) -> float:
    (value,) = events
    return float(value)


def test_a_sharp_impact_is_touchdown() -> None:
    found = find_marked_events(marks(impact_ratio=5.0, axial_rise_s=1.02), *UNAIDED)
    assert only_event(found.touchdown_s) == pytest.approx(1.010 + 0.001)


def test_without_a_sharp_impact_the_loading_of_the_shank_counts() -> None:
    found = find_marked_events(marks(axial_rise_s=1.02), *UNAIDED)
    assert only_event(found.touchdown_s) == pytest.approx(1.02 - 0.0095)


def test_a_loading_that_comes_long_before_the_shake_is_still_the_swing() -> None:
    found = find_marked_events(marks(axial_rise_s=0.95), *UNAIDED)
    assert only_event(found.touchdown_s) == pytest.approx(1.010 + 0.001, abs=1e-4)


def test_a_shock_that_stands_out_draws_touchdown_to_it() -> None:
    loading = {"axial_rise_s": 1.0095}
    plain = find_marked_events(marks(**loading), *UNAIDED)
    shaken = find_marked_events(marks(**loading, shock_s=1.004, shock_ratio=60.0), *UNAIDED)
    blunt = find_marked_events(marks(**loading, shock_s=1.004, shock_ratio=4.0), *UNAIDED)
    assert only_event(plain.touchdown_s) == pytest.approx(1.0)
    assert only_event(shaken.touchdown_s) == pytest.approx(1.004, abs=0.0015)
    assert abs(only_event(blunt.touchdown_s) - 1.0) < 0.001
    assert only_event(shaken.touchdown_u_s) < only_event(plain.touchdown_u_s)


def test_a_foot_alone_goes_by_its_first_shake() -> None:
    found = find_marked_events(marks(jerk_onset_s=0.998), *UNAIDED)
    assert only_event(found.touchdown_s) == pytest.approx(0.998 + 0.012)


def test_the_fall_of_the_force_is_toe_off_where_the_shank_agrees() -> None:
    near = find_marked_events(
        marks(axial_rise_s=1.0095, push_off_s=1.251, shank_off_s=1.27), *UNAIDED
    )
    far = find_marked_events(
        marks(axial_rise_s=1.0095, push_off_s=1.15, shank_off_s=1.27), *UNAIDED
    )
    assert only_event(near.toe_off_s) == pytest.approx(1.257)
    assert only_event(far.toe_off_s) == pytest.approx(1.2585)
    assert only_event(far.toe_off_u_s) != only_event(near.toe_off_u_s)


def test_a_foot_alone_whose_force_does_not_fall_goes_by_its_turn() -> None:
    found = find_marked_events(marks(jerk_onset_s=0.988, foot_turn_s=1.2), *UNAIDED)
    assert only_event(found.toe_off_s) == pytest.approx(1.2 + 0.12 * 0.2)


def test_no_data_covers_sprints_and_the_uncertainty_says_so() -> None:
    given = {"axial_rise_s": 1.01, "shank_off_s": 1.27}
    jog = find_marked_events(marks(**given), *UNAIDED)
    sprint = find_marked_events(marks(**given, cycle_s=SPRINT_CYCLE_S), *UNAIDED)
    assert only_event(sprint.touchdown_u_s) > 2.0 * only_event(jog.touchdown_u_s)
    assert only_event(sprint.toe_off_u_s) > 1.3 * only_event(jog.toe_off_u_s)


@pytest.mark.parametrize("varied", ["axial_rise_s", "impact_ratio"])
@pytest.mark.parametrize("shock_ratio", [0.0, 2.9, 3.1])
def test_touchdown_never_jumps_while_it_is_sure(varied: str, shock_ratio: float) -> None:
    ranges = {
        "axial_rise_s": np.arange(0.95, 1.06, 1e-4),
        "impact_ratio": np.arange(2.2, 3.4, 1e-3),
    }
    values = ranges[varied]
    usual = marks(axial_rise_s=0.975, shock_s=1.02, shock_ratio=shock_ratio)
    each = {name: np.full(len(values), x[0]) for name, x in usual.items()}
    found = find_marked_events({**each, varied: values}, *UNAIDED)
    jumps_s = np.abs(np.diff(found.touchdown_s))
    assert (jumps_s < 0.1 * found.touchdown_u_s[1:]).all()


def test_fewer_samples_make_a_sprints_touchdown_less_certain() -> None:
    part = stretch(make_run(USUAL)[0])
    coarse = find_coarse_contacts(part.conditioned, part.run, *COARSE)
    slow, fast = (
        find_unaided_contacts(coarse, 1.0 / rate_hz, *UNAIDED) for rate_hz in (100.0, 1000.0)
    )
    sprint = coarse.evidence["cycle_s"] < 0.3
    assert sprint.any()
    assert (slow.touchdown_u_s[sprint] > fast.touchdown_u_s[sprint]).all()


def unaided(recording: Recording) -> Contacts:
    part = stretch(recording)
    coarse = select_running_contacts(
        find_coarse_contacts(part.conditioned, part.run, *COARSE), METHOD.selection
    )
    return find_unaided_contacts(coarse, 1.0 / part.conditioned.rate_hz, *UNAIDED)


@needs_shared_data
@pytest.mark.parametrize("case", ["shank alone", "no standing"])
def test_real_events_lie_within_the_stated_uncertainty(case: str) -> None:
    """Every fifth trial of the set: seven runners, all speeds, the slowest jog among them.

    The lags were read off all 33 trials, where 95.9 to 97.7 % of errors lie within two standard
    uncertainties; leaving one runner out changes the RMS error by 0.15 ms.
    """
    down, off = [], []
    for recording, truth in map(real_run, EVERY_FIFTH):
        contacts = unaided(_changed(case, recording, truth))
        found = agreement(contacts, truth)
        assert (found.missed, found.invented) == (0, 0)
        down.append(np.stack((found.touchdown_s, contacts.touchdown_u_s[found.rows])))
        off.append(np.stack((found.toe_off_s, contacts.toe_off_u_s[found.rows])))
    for errors_s, u_s in (np.concatenate(down, axis=1), np.concatenate(off, axis=1)):
        assert np.mean(np.abs(errors_s) <= 2.0 * u_s) > 0.88
        assert abs(errors_s.mean()) < 0.004
        assert errors_s.std() < 0.009


def _changed(case: str, recording: Recording, truth: Truth) -> Recording:
    if case == "shank alone":
        return with_kind(recording, "shank")
    return without_standing(recording, truth)
