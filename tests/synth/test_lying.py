"""Sensors that lie still."""

import numpy as np
import pytest

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.synth.sensors.lying import make_lying_recording


def test_perfect_sensors_read_gravity_and_nothing_else() -> None:
    recording = make_lying_recording("ideal", 2.0, 100.0, np.random.default_rng(1))
    ups = []
    for log in recording.logs.values():
        assert len(log.time_s) == pytest.approx(200, abs=1)
        assert log.accel_mps2 == pytest.approx(np.tile(log.accel_mps2[0], (len(log.time_s), 1)))
        assert np.linalg.norm(log.accel_mps2[0]) == pytest.approx(STANDARD_GRAVITY_MPS2)
        assert log.gyro_radps == pytest.approx(0.0)
        ups.append(log.accel_mps2[0])
    assert np.ptp(np.array(ups), axis=0).max() > 1.0  # each lies another way up


def test_the_same_seed_gives_the_same_recording() -> None:
    a, b = (make_lying_recording("mid", 1.0, 200.0, np.random.default_rng(2)) for _ in range(2))
    assert np.array_equal(a.logs["left_foot"].gyro_radps, b.logs["left_foot"].gyro_radps)
