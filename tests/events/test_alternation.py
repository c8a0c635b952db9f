"""Legs on two clocks do not alternate; runners who limp a little do."""

import numpy as np
import pytest

from imuproc.core.contacts import Contacts
from imuproc.events.alternation import leg_shift


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
    assert leg_shift(legs(late_s)) is None


@pytest.mark.parametrize("late_s", [0.05, -0.06, 0.12, 0.24])
def test_a_shift_beyond_how_people_run_is_noticed(late_s: float) -> None:
    """With 0.24 s, one step, both feet would land at once."""
    found = leg_shift(legs(late_s))
    assert found is not None
    stride_s = 0.48
    assert np.mod(found.shift_s - late_s + 0.1, stride_s) == pytest.approx(0.1, abs=0.01)


def test_one_leg_that_runs_whole_strides_later_is_noticed() -> None:
    found = leg_shift(legs(0.96, steps=20))
    assert found is not None
    assert found.strides == pytest.approx(2.5, abs=0.1)


def test_few_contacts_or_one_leg_tell_nothing() -> None:
    assert leg_shift(legs(0.1, steps=5)) is None
    assert leg_shift(contacts(np.arange(50.0, 53.0, 0.5), np.empty(0))) is None
