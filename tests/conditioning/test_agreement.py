"""Exchanged and reversed columns of a gyroscope are told; other faults are not taken for it."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.axes.agreement import find_axes_fault
from imuproc.conditioning.axes.segment_axes import SensorRecord
from imuproc.core.recording import Interval
from imuproc.dsp.integration import integrate_gyro
from imuproc.dsp.rotations import quat_conjugate, quat_rotate
from tests.usual import METHOD

RATE_HZ = 250.0
RESTS = (Interval(0.2, 1.8), Interval(8.2, 9.8))
G = np.array([0.0, 0.0, 9.81])

COLUMNS = METHOD.calibration.columns


def leg() -> SensorRecord:
    """8 s of a sensor that swings mostly about one skew axis, at the end of a pendulum."""
    time_s = np.arange(int(10.0 * RATE_HZ)) / RATE_HZ
    moving = (time_s > 2.0) & (time_s < 8.0)
    phase = 2.0 * np.pi * (time_s - 2.0)
    swing = np.stack((4.0 * np.sin(phase), 9.0 * np.sin(2.0 * phase), 2.0 * np.sin(3.0 * phase)), 1)
    gyro = swing * moving[:, None]
    chain = integrate_gyro(gyro, RATE_HZ, np.array([1.0, 0.0, 0.0, 0.0]))[: len(time_s)]
    push = np.stack((30.0 * np.cos(2.0 * phase), 0.0 * phase, 15.0 * np.cos(4.0 * phase)), 1)
    accel = quat_rotate(quat_conjugate(chain), G + push * moving[:, None])
    return SensorRecord(time_s, RATE_HZ, accel, gyro, moving, time_s < 1.8)


def test_a_sound_sensor_has_no_fault() -> None:
    assert find_axes_fault(leg(), RESTS, COLUMNS) is None


@pytest.mark.parametrize(
    ("columns", "signs", "named"),
    [
        ((0, 1, 2), (-1.0, 1.0, 1.0), "-x, y, z"),
        ((0, 1, 2), (1.0, -1.0, 1.0), "x, -y, z"),
        ((1, 0, 2), (1.0, 1.0, 1.0), "y, x, z"),
        ((0, 1, 2), (-1.0, -1.0, -1.0), "-x, -y, -z"),
    ],
)
def test_wrong_columns_are_named(
    columns: tuple[int, ...], signs: tuple[float, ...], named: str
) -> None:
    sound = leg()
    wrong = sound.gyro_radps[:, list(columns)] * np.array(signs)
    fault = find_axes_fault(replace(sound, gyro_radps=wrong), RESTS, COLUMNS)
    assert fault is not None
    assert fault.columns == named
    assert fault.then_off_mps2 < 0.3 * fault.off_mps2


def test_a_drift_that_no_exchange_explains_is_not_put_down_to_columns() -> None:
    sound = leg()
    drifting = sound.gyro_radps + np.radians([6.0, -4.0, 5.0]) * sound.running[:, None]
    assert find_axes_fault(replace(sound, gyro_radps=drifting), RESTS, COLUMNS) is None


def test_with_one_rest_nothing_is_said() -> None:
    sound = leg()
    wrong = sound.gyro_radps * np.array([1.0, -1.0, 1.0])
    assert find_axes_fault(replace(sound, gyro_radps=wrong), RESTS[:1], COLUMNS) is None
