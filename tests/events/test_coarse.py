"""Coarse contacts: every contact once, whatever sensors there are."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from imuproc.core.recording import Conditioned, ConditionedRecording, Interval, Recording
from imuproc.core.sites import Site
from imuproc.events.coarse import find_coarse_contacts
from imuproc.events.selection import select_running_contacts
from imuproc.synth.plan import RunPlan
from imuproc.synth.truth import Truth
from tests.events.real_runs import (
    KINDS,
    REAL_RUNS,
    Agreement,
    Stretch,
    agreement,
    real_run,
    stretch,
    with_kind,
    without_standing,
)
from tests.shared_data import needs_shared_data
from tests.simulated import USUAL, make_run, plan_run
from tests.usual import COARSE, METHOD

SLOW_START = plan_run(611, start="standing")


STATED_U_S = 0.015
"""Standard uncertainty that coarse contacts state."""


def held_to_truth(recording: Recording, truth: Truth) -> Agreement:
    part = stretch(recording)
    coarse = find_coarse_contacts(part.conditioned, part.run, *COARSE)
    return agreement(select_running_contacts(coarse, METHOD.selection), truth)


def rms(errors_s: list[NDArray[np.float64]]) -> float:
    return float(np.sqrt(np.mean(np.concatenate(errors_s) ** 2)))


@needs_shared_data
@pytest.mark.parametrize("kind", KINDS)
def test_real_contacts_are_found_once_each(kind: str) -> None:
    found = [held_to_truth(with_kind(r, kind), t) for r, t in map(real_run, REAL_RUNS)]
    assert [(f.missed, f.invented) for f in found] == [(0, 0)] * len(REAL_RUNS)
    assert rms([f.touchdown_s for f in found]) < STATED_U_S
    assert rms([f.toe_off_s for f in found]) < STATED_U_S
    for one in found:
        assert np.abs(one.touchdown_s).max() < 4.0 * STATED_U_S
        assert np.abs(one.toe_off_s).max() < 4.0 * STATED_U_S


@needs_shared_data
@pytest.mark.parametrize("kind", KINDS)
def test_hundred_samples_a_second_are_enough(kind: str) -> None:
    recording, truth = real_run("RBDS019-2.5", 100.0)
    found = held_to_truth(with_kind(recording, kind), truth)
    assert (found.missed, found.invented) == (0, 0)
    assert rms([found.touchdown_s]) < STATED_U_S


@needs_shared_data
def test_contacts_are_found_without_any_standing() -> None:
    runs = [(without_standing(*real_run(name)), real_run(name)[1]) for name in REAL_RUNS]
    found = [held_to_truth(recording, truth) for recording, truth in runs]
    assert [(f.missed, f.invented) for f in found] == [(0, 0)] * len(REAL_RUNS)
    assert rms([f.touchdown_s for f in found]) < STATED_U_S
    assert rms([f.toe_off_s for f in found]) < STATED_U_S


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("plan", [USUAL, SLOW_START], ids=["blocks", "standing"])
def test_a_sprint_keeps_its_first_and_last_steps_and_no_walking(plan: RunPlan, kind: str) -> None:
    recording, truth = make_run(plan)
    found = held_to_truth(with_kind(recording, kind), truth)
    assert (found.missed, found.invented) == (0, 0)


def usual_sprint() -> Stretch:
    return stretch(make_run(USUAL)[0])


def with_signals(
    conditioned: ConditionedRecording, gyro_share: float, force_share: float
) -> dict[Site, Conditioned]:
    return {
        site: replace(
            segment,
            gyro_radps=gyro_share * segment.gyro_radps,
            accel_mps2=force_share * segment.accel_mps2,
        )
        for site, segment in conditioned.segments.items()
    }


@settings(max_examples=12, deadline=None)
@given(slower=st.floats(0.85, 1.5))
def test_the_same_run_played_slower_or_faster_has_the_same_contacts(slower: float) -> None:
    part = usual_sprint()
    played = replace(
        part.conditioned,
        time_s=part.conditioned.time_s * slower,
        rate_hz=part.conditioned.rate_hz / slower,
        segments=with_signals(part.conditioned, 1.0 / slower, 1.0 / slower**2),
    )
    run = Interval(part.run.start_s * slower, part.run.end_s * slower)
    as_it_was = find_coarse_contacts(part.conditioned, part.run, *COARSE)
    other = find_coarse_contacts(played, run, *COARSE)
    running = select_running_contacts(as_it_was, METHOD.selection)
    inside = (other.touchdown_s > (running.touchdown_s[0] - 0.1) * slower) & (
        other.touchdown_s < (running.touchdown_s[-1] + 0.1) * slower
    )
    assert other.take(inside).side.tolist() == running.side.tolist()
    np.testing.assert_allclose(
        other.take(inside).touchdown_s / slower, running.touchdown_s, atol=0.04
    )


def test_a_clock_that_starts_elsewhere_moves_every_contact_alike() -> None:
    part = usual_sprint()
    later = replace(part.conditioned, time_s=part.conditioned.time_s + 1000.0)
    run = Interval(part.run.start_s + 1000.0, part.run.end_s + 1000.0)
    here = find_coarse_contacts(part.conditioned, part.run, *COARSE)
    there = find_coarse_contacts(later, run, *COARSE)
    np.testing.assert_allclose(there.touchdown_s, here.touchdown_s + 1000.0, atol=1e-9)
    np.testing.assert_allclose(there.toe_off_s, here.toe_off_s + 1000.0, atol=1e-9)


def test_one_leg_alone_gives_its_own_contacts_only() -> None:
    recording, truth = make_run(USUAL)
    left = {s: log for s, log in recording.logs.items() if s.startswith("left")}
    part = stretch(replace(recording, logs=left))
    contacts = find_coarse_contacts(part.conditioned, part.run, *COARSE)
    assert set(contacts.side.tolist()) == {"left"}
    real = truth.steps[(truth.steps["side"] == "left") & (truth.steps["gait"] == "run")]
    for touchdown_s in real["touchdown_s"]:
        assert np.abs(contacts.touchdown_s - touchdown_s).min() < 0.06


def test_standing_has_no_contacts() -> None:
    part = usual_sprint()
    start_s = float(part.conditioned.time_s[0])
    still = Interval(start_s, start_s + 2.0)
    contacts = find_coarse_contacts(part.conditioned, still, *COARSE)
    assert len(contacts) == 0
    assert contacts.history[-1].stage == "events.coarse"


def test_every_contact_comes_with_its_evidence() -> None:
    part = usual_sprint()
    contacts = find_coarse_contacts(part.conditioned, part.run, *COARSE)
    swing = contacts.evidence["swing_s"]
    assert (swing < contacts.touchdown_s).all()
    assert (contacts.evidence["swing_rate_radps"] > 3.5).all()
    for name in ("jerk_half_s", "axial_rise_s", "foot_turn_s", "shank_off_s"):
        mark = contacts.evidence[name]
        assert np.isfinite(mark).all()
        assert ((mark > swing) & (mark < contacts.toe_off_s + 0.1)).all()
