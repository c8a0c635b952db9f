"""Legs on two clocks do not alternate; runners who limp a little do."""

import numpy as np
import pytest

from imuproc.core.contacts import Contacts
from imuproc.events.alternation import find_leg_shift
from tests.usual import METHOD


def contacts(left_s, right_s) -> Contacts:
    time_s = np.concatenate((left_s, right_s))
    side = np.array(["left"] * len(left_s) + ["right"] * len(right_s))
    order = np.argsort(time_s, kind="stable")
    u = np.full(len(time_s), 0.015)
    return Contacts(side[order], time_s[order], time_s[order] + 0.12, u, u)


def legs(late_s: float, steps: int = 12, step_s: float = 0.24, wobble_s: float = 0.004):
    rng = np.random.default_rng(1)
    time_s = 50.0 + step_s * np.arange(steps) + wobble_s * rng.standard_normal(steps)
    return contacts(time_s[::2], time_s[1::2] + late_s)


@pytest.mark.parametrize("late_s", [0.0, 0.012, -0.015])
def test_ordinary_unevenness_is_let_be(late_s: float) -> None:
    assert find_leg_shift(legs(late_s), METHOD.alternation) is None


@pytest.mark.parametrize("late_s", [0.05, -0.06, 0.12, 0.24])
def test_a_shift_beyond_how_people_run_is_noticed(late_s: float) -> None:
    """With 0.24 s, one step, both feet would land at once."""
    found = find_leg_shift(legs(late_s), METHOD.alternation)
    assert found is not None
    stride_s = 0.48
    assert np.mod(found.shift_s - late_s + 0.1, stride_s) == pytest.approx(0.1, abs=0.01)


def test_one_leg_that_runs_whole_strides_later_is_noticed() -> None:
    found = find_leg_shift(legs(0.96, steps=20), METHOD.alternation)
    assert found is not None
    assert found.strides == pytest.approx(2.5, abs=0.1)


def sprinted(late_s: float):
    """Steps that get quicker, then slow down, as in a sprint."""
    step_s = np.concatenate((np.linspace(0.26, 0.21, 12), np.linspace(0.21, 0.38, 10)))
    time_s = 50.0 + np.cumsum(step_s)
    return contacts(time_s[::2], time_s[1::2] + late_s)


@pytest.mark.parametrize("late_s", [0.42, -0.42, 0.5, -0.3, 1.0])
def test_strides_that_change_tell_even_a_shift_by_a_whole_stride(late_s: float) -> None:
    assert find_leg_shift(sprinted(0.0), METHOD.alternation) is None
    found = find_leg_shift(sprinted(late_s), METHOD.alternation)
    assert found is not None
    assert found.shift_s == pytest.approx(late_s, abs=0.03)


def test_contacts_that_were_missed_are_no_shift() -> None:
    whole = sprinted(0.0)
    for lost in ([6, 11], [3, 4, 9], [12]):
        kept = np.setdiff1d(np.arange(len(whole)), lost)
        left = whole.side[kept] == "left"
        at_s = whole.touchdown_s[kept]
        assert find_leg_shift(contacts(at_s[left], at_s[~left]), METHOD.alternation) is None


def test_few_contacts_or_one_leg_tell_nothing() -> None:
    assert find_leg_shift(legs(0.1, steps=5), METHOD.alternation) is None
    assert (
        find_leg_shift(contacts(np.arange(50.0, 53.0, 0.5), np.empty(0)), METHOD.alternation)
        is None
    )
