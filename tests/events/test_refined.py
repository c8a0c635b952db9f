"""Events from the motion of the foot, on real runs and where there is no foot to look at."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

import imuproc
from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.events.refined import refine_contacts
from imuproc.synth.plan import draw_plan
from imuproc.synth.runs import simulate_run
from tests.events.made_contacts import contacts_of, gait
from tests.events.real_runs import EVERY_FIFTH, Agreement, agreement, real_run, with_kind
from tests.shared_data import needs_shared_data
from tests.usual import METHOD

RUNS = {"all": EVERY_FIFTH[1::2], "foot": EVERY_FIFTH}
"""Trials that are processed with all sensors, and with the feet alone."""


@lru_cache(maxsize=2)
def _processed(kind: str) -> tuple[list[Contacts], list[Agreement]]:
    """Contacts of the whole method, coarse, then refined."""
    contacts, found = [], []
    for recording, truth in map(real_run, RUNS[kind]):
        result = imuproc.process(with_kind(recording, kind))
        contacts.append(result.contacts)
        found.append(agreement(result.contacts, truth))
    return contacts, found


@needs_shared_data
@pytest.mark.parametrize("kind", RUNS)
def test_real_events_agree_with_the_force_plate(kind: str) -> None:
    """All 33 trials, either kind: touchdown 0.2 ± 3.0 ms, toe-off 1.1 ± 4.3 ms."""
    _, found = _processed(kind)
    assert [(f.missed, f.invented) for f in found] == [(0, 0)] * len(found)
    down = np.concatenate([f.touchdown_s for f in found])
    off = np.concatenate([f.toe_off_s for f in found])
    assert abs(down.mean()) < 0.002
    assert down.std() < 0.0035
    assert abs(off.mean()) < 0.003
    assert off.std() < 0.0055


@needs_shared_data
@pytest.mark.parametrize("kind", RUNS)
def test_real_errors_lie_within_two_standard_uncertainties(kind: str) -> None:
    contacts, found = _processed(kind)
    for name in ("touchdown", "toe_off"):
        inside = [
            np.abs(getattr(f, f"{name}_s"))
            <= 2.0
            * np.hypot(getattr(c, f"{name}_u_s"), getattr(c, f"{name}_reference_u_s"))[f.rows]
            for c, f in zip(contacts, found, strict=True)
        ]
        assert np.mean(np.concatenate(inside)) > 0.9


@needs_shared_data
def test_a_strong_shock_does_not_delay_touchdown() -> None:
    """Ringing of the sensor makes the foot seem to fall on: the arrest alone reads late. The
    added shock itself has risen 3 ms after touchdown."""
    errors, stated, alone = [], [], []
    for name in EVERY_FIFTH[::3]:
        recording, truth = real_run(name, shock="strong")
        contacts = imuproc.process(recording).contacts
        found = agreement(contacts, truth)
        errors.append(found.touchdown_s)
        stated.append(contacts.touchdown_u_s[found.rows])
        arrest_s = contacts.evidence["strike_s"][found.rows]
        alone.append(found.touchdown_s + arrest_s - contacts.touchdown_s[found.rows])
    error, u, by_arrest = map(np.concatenate, (errors, stated, alone))
    assert abs(error.mean()) < 0.004
    assert error.std() < 0.002
    assert np.mean(np.abs(error) <= 2.0 * u) > 0.9
    assert by_arrest.mean() > 0.004


@needs_shared_data
def test_fewer_samples_are_said_to_make_events_less_certain() -> None:
    """All 33 trials at 100 Hz: touchdown 1.5 ± 3.3 ms, 99 % within two standard uncertainties."""
    recording, truth = real_run(EVERY_FIFTH[1], rate_hz=100.0)
    contacts = imuproc.process(recording).contacts
    found = agreement(contacts, truth)
    inside = np.abs(found.touchdown_s) <= 2.0 * contacts.touchdown_u_s[found.rows]
    assert np.mean(inside) > 0.9
    fine = _processed("all")[0][0]
    for name in ("touchdown_rate_u_s", "toe_off_rate_u_s"):
        assert np.median(contacts.evidence[name]) > 4.0 * np.median(fine.evidence[name])


@needs_shared_data
def test_evidence_tells_heel_strikers_from_others() -> None:
    """By the authors of the data set RBDS012 and RBDS023 strike with the heel, RBDS021 with the
    forefoot, RBDS028 with the midfoot."""
    contacts, _ = _processed("foot")
    weight = {
        name.partition("-")[0]: float(np.median(c.evidence["heel_weight"]))
        for name, c in zip(RUNS["foot"], contacts, strict=True)
    }
    assert min(weight["RBDS012"], weight["RBDS023"]) > 0.9
    assert max(weight["RBDS021"], weight["RBDS028"]) < 0.5


def test_without_foot_motion_events_stay_as_they_are() -> None:
    contacts = contacts_of(gait(6, 0.3, 0.2))
    refined = refine_contacts(
        contacts, Motion(np.arange(0.0, 3.0, 0.002), {}), METHOD.refine, METHOD.fusion
    )
    np.testing.assert_array_equal(refined.touchdown_s, contacts.touchdown_s)
    np.testing.assert_array_equal(refined.toe_off_s, contacts.toe_off_s)
    np.testing.assert_array_equal(refined.touchdown_u_s, contacts.touchdown_u_s)
    assert refined.history[-1].stage == "events.refined"


def test_a_foot_whose_pitch_is_lost_tells_no_events() -> None:
    rng = np.random.default_rng(5)
    recording, _ = simulate_run(draw_plan(rng, "crouch", 20.0), "mid", 500.0, rng)
    result = imuproc.process(recording)
    late = replace(result.contacts, touchdown_s=result.contacts.touchdown_s + 0.004)
    foot = result.motion.segments["left_foot"]
    half_s = float(np.median(late.touchdown_s))
    lost = np.where(result.motion.time_s > half_s, np.radians(25.0), foot.pitch_u_rad)
    segments = {**result.motion.segments, "left_foot": replace(foot, pitch_u_rad=lost)}
    refined = refine_contacts(
        late, replace(result.motion, segments=segments), METHOD.refine, METHOD.fusion
    )
    kept = refined.touchdown_s == late.touchdown_s
    np.testing.assert_array_equal(kept, (late.side == "left") & (late.touchdown_s > half_s - 0.05))
    assert np.isfinite(refined.toe_off_s).all()
