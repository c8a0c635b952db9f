"""Phase of each step: from the start and the gain of speed, never from a judged angle."""

from itertools import groupby

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.estimators.phase import PHASES, PhaseSettings, phases

USUAL = PhaseSettings()
NAN = np.nan


def sprint(count=24, vmax=9.5, tau_s=1.25, slow_from=None):
    """Speed of each step of a sprint from a stand, four steps and a bit a second."""
    t = 0.45 + 0.23 * np.arange(count)
    speed = vmax * (1.0 - np.exp(-t / tau_s))
    if slow_from is not None:
        after = np.arange(count) - slow_from
        speed = np.where(after > 0, speed * (1.0 - 0.06 * after), speed)
    speed[-1] = NAN  # the last step has no next touchdown
    return speed


def test_a_sprint_goes_from_drive_through_transition_to_upright_and_slows_at_the_end() -> None:
    found = phases(sprint(26, slow_from=20), True, USUAL)
    changes = [name for name, _ in groupby(found)]
    assert changes == ["drive", "transition", "upright", "slowing"]


def test_drive_and_transition_end_where_coaches_put_them() -> None:
    """Near the 8th and the 16th step (common practice, no source)."""
    found = phases(sprint(), True, USUAL)
    assert (found == "drive").sum() == pytest.approx(8, abs=2)
    assert np.flatnonzero(found == "transition")[-1] + 1 == pytest.approx(16, abs=3)


def test_a_rolling_start_or_a_treadmill_has_no_drive() -> None:
    found = phases(sprint(), False, USUAL)
    assert "drive" not in found
    assert found[0] == "transition"
    level = phases(np.full(20, 4.5), False, USUAL)
    assert set(level) == {"upright"}


@pytest.mark.parametrize("known", [0, 3])
def test_without_speed_the_step_number_decides(known: int) -> None:
    speed = np.full(20, NAN)
    speed[:known] = 5.0
    found = phases(speed, True, USUAL)
    assert found.tolist() == ["drive"] * 8 + ["transition"] * 8 + ["upright"] * 4
    assert set(phases(speed, False, USUAL)) == {"upright"}


def test_single_missing_speeds_are_bridged() -> None:
    whole = sprint()
    holed = whole.copy()
    holed[[4, 11]] = NAN
    changed = phases(holed, True, USUAL) != phases(whole, True, USUAL)
    assert changed.sum() <= 2


def test_left_right_differences_do_not_change_the_phase_to_and_fro() -> None:
    speed = sprint() + 0.15 * (-1.0) ** np.arange(24)
    found = phases(speed, True, USUAL)
    order = [PHASES.index(name) for name in found]
    assert order == sorted(order)
    assert (found == "drive").sum() >= 5


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.one_of(st.floats(0.5, 12.0), st.just(NAN)), min_size=0, max_size=30),
    st.booleans(),
)
def test_phases_follow_each_other_whatever_the_speeds(speeds, has_drive) -> None:
    found = phases(np.array(speeds), has_drive, USUAL)
    assert len(found) == len(speeds)
    order = [PHASES.index(name) for name in found]
    assert order == sorted(order)
    assert has_drive or "drive" not in found


def test_a_step_measured_slow_amid_fast_ones_does_not_end_the_effort() -> None:
    """Speed at low sampling rates scatters by some per cent."""
    speed = sprint(26, tau_s=0.7, slow_from=22)
    speed[14:16] *= 1.03
    speed[17:20] *= 0.95
    found = phases(speed, True, USUAL)
    assert (found[:22] != "slowing").all()
    assert (found[24:] == "slowing").all()
