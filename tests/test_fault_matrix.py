"""A short form of the fault matrix: what a user would notice of each fault.

The long form is ``python scripts/fault_matrix.py``.
"""

from functools import lru_cache

import numpy as np
import pytest

from imuproc.synth.sensors.faults import FAULTS
from scripts.fault_matrix import (
    OF_STEPS,
    RAISES,
    Outcome,
    judge_outcome,
    make_clean_case,
    spoil_case,
)
from scripts.lab.accuracy_cases import Case

SEED = 5200
NUMBERS = (2,)
"""A short sprint: this is only the quick form."""


@lru_cache(maxsize=4)
def make_case_of(number: int) -> Case:
    return make_clean_case("sprint", number, SEED)


def judge_outcomes(name: str, level: int) -> list[Outcome]:
    return [
        judge_outcome(*spoil_case(make_case_of(n), FAULTS[name], level, SEED + n)) for n in NUMBERS
    ]


def measure_share_within(outcome: Outcome, times_u: float) -> float:
    """Share of the figures given that lie within so many of their uncertainties.

    Where the clocks of the legs are not tied, each leg's events are as its own clock counts, which
    is not that of the truth; durations and angles are compared all the same.
    """
    known = outcome.errors[outcome.errors["error"].notna()]
    if "clock_separate" in outcome.flags:
        known = known[known["group"] != "events"]
    return float((known["error"].abs() <= times_u * known["u"]).mean()) if len(known) else 1.0


def test_runs_without_a_fault_raise_no_flag_of_one() -> None:
    for number in (1, 2):
        sound = make_case_of(number)
        assert judge_outcome(sound.recording, sound.truth).flags <= OF_STEPS


@pytest.mark.parametrize("name", FAULTS)
def test_a_harmful_fault_is_told_and_what_remains_is_right(name: str) -> None:
    level = min(max(FAULTS[name].harmful_from, 1), 2)
    for outcome in judge_outcomes(name, level):
        assert outcome.refused or outcome.flags & RAISES[name]
        assert measure_share_within(outcome, 2.0) >= 0.85
        assert measure_share_within(outcome, 4.0) >= 0.97


@pytest.mark.parametrize("name", ["stuck", "slip", "gyro_clipping", "swapped_axes", "slow_clock"])
def test_the_worst_costs_figures_but_not_the_run(name: str) -> None:
    for number, outcome in zip(NUMBERS, judge_outcomes(name, 2), strict=True):
        assert not outcome.refused
        sound = make_case_of(number)
        whole = judge_outcome(sound.recording, sound.truth).errors["error"].notna().sum()
        assert 0.2 * whole < outcome.errors["error"].notna().sum() <= whole
        assert measure_share_within(outcome, 2.0) >= 0.85


def test_axes_that_are_exchanged_are_named() -> None:
    """One axis of the gyroscope reversed: the flag says which columns would fit."""
    import imuproc

    recording, *_ = spoil_case(make_case_of(2), FAULTS["swapped_axes"], 0, SEED)
    site = next(
        s for s in recording.logs if recording.logs[s] is not make_case_of(2).recording.logs[s]
    )
    old, new = make_case_of(2).recording.logs[site].gyro_radps, recording.logs[site].gyro_radps
    axis = int(np.flatnonzero((old != new).any(axis=0))[0])
    words = ["x", "y", "z"]
    words[axis] = f"-{words[axis]}"
    flag = next(f for f in imuproc.process(recording).flags if f.name == "axes_disagree")
    assert flag.site == site
    assert flag.values["columns"] == ", ".join(words)
    assert flag.values["left_out"] is True


def test_a_foot_lost_in_a_late_swing_does_not_spoil_the_strides_before() -> None:
    """What stands for its signals from there on once told where the foot should have rested."""
    sprint = make_clean_case("sprint", 0, 13_000)
    torn = judge_outcome(*spoil_case(sprint, FAULTS["held_in_swing"], 2, 13_000))
    assert RAISES["held_in_swing"] & torn.flags
    known = torn.errors[torn.errors["error"].notna()]
    for group, least in (("times", 100), ("lengths", 50)):
        own = known[known["group"] == group]
        assert len(own) > least
        assert (own["error"].abs() <= 2.0 * own["u"]).mean() > 0.9, group
