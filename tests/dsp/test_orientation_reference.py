"""Integration of a real gyroscope against optical orientation.

Source: Laidig, Caruso, Cereatti & Seel 2021, Data 6:72 (CC BY 4.0), trial 07: a hand-held board
turned at up to 1400 deg/s for 60 s, after 10 s of rest.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from vqf import VQF

from imuproc.dsp.integration import compute_increments, integrate_gyro
from imuproc.dsp.resampling import interpolate
from tests.shared_data import SHARED_DATA, needs_shared_data

pytestmark = needs_shared_data

IDENTITY = np.array([1.0, 0.0, 0.0, 0.0])
WINDOW_S = 0.5


class Trial:
    """Gyroscope less its bias at rest, and the optical orientation."""

    def __init__(self):
        with np.load(SHARED_DATA / "orientation_reference" / "fast_rotation.npz") as data:
            self.time_s = data["time_s"]
            self.rate_hz = float(data["fs_hz"])
            gyro = data["gyr_radps"].astype(np.float64)
            self.optical = Rotation.from_quat(data["optical_quat_wxyz"][:, [1, 2, 3, 0]])
            self.first = int(np.flatnonzero(data["movement"])[0])
        self.gyro_radps = gyro - gyro[: self.first - 100].mean(axis=0)

    def gyro_at(self, lag_s):
        """Gyroscope as it would read with its delay behind the optical system taken away."""
        at = np.clip(self.time_s + lag_s, self.time_s[0], self.time_s[-1])
        return interpolate(self.time_s, self.gyro_radps, at, 0.01)

    def window_errors_deg(self, orientation, first, last):
        """Error of the rotation over half a second, free of what happened before."""
        step = round(WINDOW_S * self.rate_hz)
        start = np.arange(first, last - step, 20)
        found = orientation[start].inv() * orientation[start + step]
        truth = self.optical[start].inv() * self.optical[start + step]
        return np.degrees((truth.inv() * found).magnitude())


def as_rotation(quat_wxyz):
    return Rotation.from_quat(quat_wxyz[:, [1, 2, 3, 0]])


@pytest.fixture(scope="module")
def trial():
    return Trial()


@pytest.fixture(scope="module")
def lag_s(trial):
    """Delay of the gyroscope behind the optical system, from the first 10 s of movement only."""
    last = trial.first + round(10.0 * trial.rate_hz)
    lags_s = np.arange(-2e-3, 9e-3, 0.5e-3)
    errors = []
    for lag in lags_s:
        gyro = trial.gyro_at(lag)[: last + 1]
        found = as_rotation(integrate_gyro(gyro, trial.rate_hz, IDENTITY))
        errors.append(np.sqrt(np.mean(trial.window_errors_deg(found, trial.first, last) ** 2)))
    best = int(np.argmin(errors))
    assert 0 < best < len(lags_s) - 1
    return float(lags_s[best])


def test_rotation_over_half_a_second_at_up_to_1400_deg_per_s(trial, lag_s):
    """Judged on the 50 s that did not serve to find the delay."""
    gyro = trial.gyro_at(lag_s)
    found = as_rotation(integrate_gyro(gyro, trial.rate_hz, IDENTITY))
    first = trial.first + round(10.0 * trial.rate_hz)
    errors = trial.window_errors_deg(found, first, len(gyro))
    turned = np.degrees(np.linalg.norm(gyro[first:], axis=1)).mean() * WINDOW_S
    assert turned > 150.0
    assert np.sqrt(np.mean(errors**2)) < 0.6
    assert np.percentile(errors, 95) < 1.2


def test_orientation_after_a_minute_of_fast_rotation(trial, lag_s):
    """28 000 deg of rotation without any correction; within 5 deg all the way."""
    gyro = trial.gyro_at(lag_s)
    found = as_rotation(integrate_gyro(gyro, trial.rate_hz, IDENTITY))
    rest = trial.first - 50
    found = trial.optical[rest] * found[rest].inv() * found
    error = np.degrees((trial.optical.inv() * found).magnitude())[trial.first :]
    total = np.degrees(np.linalg.norm(gyro[trial.first :], axis=1).sum() / trial.rate_hz)
    assert total > 25_000.0
    assert error.max() < 5.0
    assert error[: round(2.0 * trial.rate_hz)].max() < 1.5  # as long as a sprint's first steps


def test_same_orientation_as_vqf_from_the_same_gyroscope(trial):
    """vqf (Laidig & Seel 2023, Information Fusion 91:187), strapdown part only, fed with the mean
    rate of each interval: what is left between the two is our coning term."""
    gyro, rate_hz = trial.gyro_radps, trial.rate_hz
    observer = VQF(1.0 / rate_hz, motionBiasEstEnabled=False, restBiasEstEnabled=False)
    other = np.empty((len(gyro), 4))
    mean_rates = np.vstack((np.zeros(3), compute_increments(gyro, rate_hz) * rate_hz)).copy(
        order="C"
    )
    for i, sample in enumerate(mean_rates):
        observer.updateGyr(sample)
        other[i] = observer.getQuat3D()
    ours = as_rotation(integrate_gyro(gyro, rate_hz, IDENTITY))
    apart = np.degrees((as_rotation(other).inv() * ours).magnitude())
    assert apart.max() < 0.2
