"""Faults do what they say, leave the given recording as it is, and have sizes laid down before."""

import numpy as np
import pytest

from imuproc.core.recording import Recording
from imuproc.synth.sensors.faults import FAULTS
from imuproc.synth.sensors.log_faults import find_running_span
from tests.simulated import USUAL, make_run


@pytest.fixture(scope="module")
def sprint() -> Recording:
    return make_run(USUAL)[0]


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_changes_a_copy(name: str, sprint: Recording) -> None:
    kind = FAULTS[name]
    before = {site: log.gyro_radps.copy() for site, log in sprint.logs.items()}
    for level, severity in enumerate(kind.severities):
        spoiled = kind.spoil(sprint, severity, np.random.default_rng(level))
        changed = [site for site in sprint.logs if spoiled.logs[site] is not sprint.logs[site]]
        assert changed, f"{name} at {severity}"
    for site, log in sprint.logs.items():
        np.testing.assert_array_equal(log.gyro_radps, before[site])


@pytest.mark.parametrize("name", FAULTS)
def test_what_is_harmful_stays_so_when_it_gets_worse(name: str) -> None:
    kind = FAULTS[name]
    harmful = [kind.is_harmful(level) for level in range(3)]
    assert harmful == sorted(harmful)


def test_a_slip_turns_gravity_by_its_angle_and_the_gyroscope_sees_it(sprint: Recording) -> None:
    spoiled = FAULTS["slip"].spoil(sprint, 20.0, np.random.default_rng(3))
    site = next(s for s in sprint.logs if spoiled.logs[s] is not sprint.logs[s])
    log, before = spoiled.logs[site], sprint.logs[site]
    ends = [own.accel_mps2[-200:].mean(axis=0) for own in (log, before)]
    cosine = ends[0] @ ends[1] / np.prod(np.linalg.norm(ends, axis=1))
    assert np.degrees(np.arccos(cosine)) == pytest.approx(20.0, abs=1.5)
    first, last = find_running_span(before)
    at = np.linalg.norm(log.gyro_radps, axis=1) - np.linalg.norm(before.gyro_radps, axis=1)
    seen = before.time_s[np.abs(at) > 1.0]
    assert first - 0.2 < seen.min() < seen.max() < last + 0.2
    assert seen.max() - seen.min() < 0.15


def test_a_bias_jump_shows_after_the_run_and_not_before(sprint: Recording) -> None:
    spoiled = FAULTS["bias_jump"].spoil(sprint, 3.0, np.random.default_rng(1))
    site = next(s for s in sprint.logs if spoiled.logs[s] is not sprint.logs[s])
    moved = np.degrees(spoiled.logs[site].gyro_radps - sprint.logs[site].gyro_radps)
    assert np.linalg.norm(moved[-1]) == pytest.approx(3.0)
    assert not moved[0].any()
