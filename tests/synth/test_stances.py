"""Timing and posture of made-up steps against published figures."""

import numpy as np
import pytest

from imuproc.synth.plan import Technique
from imuproc.synth.stances import (
    compute_published_contact_s,
    compute_running_times,
    make_effort_posture,
    make_slow_posture,
)


def test_contact_times_by_step_range() -> None:
    # Blauberger, Horsch & Lames 2021, Sensors 21:7331, table 1: mean contact time in ms.
    for first, last, mean_ms in (
        (1, 5, 163.45),
        (6, 15, 118.43),
        (16, 25, 109.32),
        (36, 45, 107.86),
    ):
        ours = 1e3 * np.mean([compute_published_contact_s(n) for n in range(first, last + 1)])
        assert ours == pytest.approx(mean_ms, abs=0.8)


def test_steady_running_by_speed() -> None:
    # Lubrano et al. 2026, J Biomech (open data): 20 km/h; Dorn, Schache & Pandy 2012, J Exp Biol
    # 215:1944 (open data): 9.5 m/s.
    for speed_mps, contact_s, frequency_hz in ((20.0 / 3.6, 0.170, 3.12), (9.5, 0.118, 4.39)):
        ours = compute_running_times(speed_mps)
        assert ours[0] == pytest.approx(contact_s, abs=0.001)
        assert 1.0 / ours[1] == pytest.approx(frequency_hz, abs=0.01)


def test_shin_rises_from_45_degrees_to_upright() -> None:
    # About 45 deg in the drive phase, rising to upright: common practice, no source.
    shin = [make_effort_posture(Technique(), n, "left").shin_touchdown_deg for n in range(1, 16)]
    assert 40.0 < shin[0] < 55.0
    assert np.all(np.diff(shin) > 0.0)
    assert 88.0 < shin[-1] < 98.0


def test_slowing_steps_land_heel_first_with_the_shin_past_vertical() -> None:
    posture = make_slow_posture(Technique(), 5.0)
    assert posture.shin_touchdown_deg > 95.0
    assert posture.pitch_touchdown_deg > 5.0
