"""Integration against closed forms, scipy and the general-purpose orientation library vqf."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from vqf import VQF

from imuproc.dsp.integration import compute_increments, cumulative_integral, integrate_gyro
from imuproc.dsp.rotations import quat_from_rotvec, quat_multiply

IDENTITY = np.array([1.0, 0.0, 0.0, 0.0])


def apart_deg(p, q):
    p, q = (Rotation.from_quat(x[:, [1, 2, 3, 0]]) for x in (p, q))
    return np.degrees((p.inv() * q).magnitude())


def vqf_gyro_only(gyro_radps, rate_hz):
    """Orientations of vqf's strapdown part alone; each sample turns by itself times the period."""
    observer = VQF(1.0 / rate_hz, motionBiasEstEnabled=False, restBiasEstEnabled=False)
    out = np.empty((len(gyro_radps), 4))
    for i, sample in enumerate(np.ascontiguousarray(gyro_radps)):
        observer.updateGyr(sample)
        out[i] = observer.getQuat3D()
    return out


def leg_like_motion(rate_hz, duration_s=4.0):
    """Orientation by three Euler angles that swing like a shank in a sprint, and its exact rate."""
    time_s = np.arange(int(duration_s * rate_hz)) / rate_hz
    size = np.radians([55.0, 12.0, 15.0])  # swing, tilt, turn: to about 900 deg/s
    speed = 2.0 * np.pi * np.array([2.1, 2.1, 4.2])
    phase = np.array([0.0, 1.0, 0.4])
    y, x, z = np.moveaxis(size * np.sin(speed * time_s[:, None] + phase), -1, 0)
    dy, dx, dz = np.moveaxis(size * speed * np.cos(speed * time_s[:, None] + phase), -1, 0)
    rotation = Rotation.from_euler("YXZ", np.stack((y, x, z), axis=1))
    # Body rates of the intrinsic sequence Y, X, Z.
    about_z = Rotation.from_euler("z", z[:, None]).inv()
    about_xz = (Rotation.from_euler("x", x[:, None]) * Rotation.from_euler("z", z[:, None])).inv()
    unit = np.eye(3)
    gyro = (about_xz.apply(dy[:, None] * unit[1]) + about_z.apply(dx[:, None] * unit[0])) + dz[
        :, None
    ] * unit[2]
    return rotation.as_quat()[:, [3, 0, 1, 2]], gyro


@settings(deadline=None, max_examples=40)
@given(
    coefficients=st.tuples(*[st.floats(-5, 5)] * 4), n=st.integers(4, 40), rate=st.floats(1, 100)
)
def test_increments_of_a_cubic_are_exact_inside(coefficients, n, rate):
    time_s = np.arange(n) / rate
    x = np.polynomial.Polynomial(coefficients)
    whole = x.integ()(time_s)
    found = compute_increments(x(time_s), rate)
    scale = max(1.0, np.abs(whole).max())
    np.testing.assert_allclose(found[1:-1], np.diff(whole)[1:-1], atol=1e-11 * scale)


def test_cumulative_integral_starts_at_zero_and_follows_the_closed_form():
    time_s = np.arange(1000) / 500.0
    x = np.stack((np.cos(20.0 * time_s), np.sin(20.0 * time_s)), axis=1)
    found = cumulative_integral(x, 500.0)
    expected = np.stack((np.sin(20.0 * time_s), 1.0 - np.cos(20.0 * time_s)), axis=1) / 20.0
    np.testing.assert_array_equal(found[0], [0.0, 0.0])
    np.testing.assert_allclose(found, expected, atol=3e-7)
    trapezoid = np.concatenate(([0.0], np.cumsum((x[1:, 0] + x[:-1, 0]) / 1000.0)))
    assert (
        np.abs(found[:, 0] - expected[:, 0]).max() < 0.05 * np.abs(trapezoid - expected[:, 0]).max()
    )


@pytest.mark.parametrize("n", [1, 2, 3])
def test_few_samples(n):
    gyro = np.tile([0.0, 2.0, 0.0], (n, 1))
    found = integrate_gyro(gyro, 100.0, IDENTITY)
    angles = 0.02 * np.arange(n)
    np.testing.assert_allclose(found, quat_from_rotvec(angles[:, None] * np.eye(3)[1]), atol=1e-12)


@settings(deadline=None, max_examples=30)
@given(seed=st.integers(0, 9999))
def test_steady_rotation_equals_scipy(seed):
    rng = np.random.default_rng(seed)
    rate = rng.normal(size=3) * 15.0
    start = rng.normal(size=4)
    start /= np.linalg.norm(start)
    found = integrate_gyro(np.tile(rate, (400, 1)), 400.0, start)
    turn = Rotation.from_rotvec(rate * np.arange(400)[:, None] / 400.0)
    expected = (Rotation.from_quat(start[[1, 2, 3, 0]]) * turn).as_quat()[:, [3, 0, 1, 2]]
    assert apart_deg(found, expected).max() < 1e-5


def test_classical_coning_does_not_drift():
    """Closed form: an axis on a cone of half angle b about z at W rad/s has body rates
    (-W sin b sin Wt, W sin b cos Wt, -2 W sin^2(b/2)), e.g. Savage 1998, J Guid 21:19 (from
    memory)."""
    rate_hz, cone, spin = 200.0, np.radians(20.0), 2.0 * np.pi * 5.0
    time_s = np.arange(2000) / rate_hz
    turn = spin * time_s
    zero = np.zeros_like(turn)
    gyro = spin * np.stack(
        (
            -np.sin(cone) * np.sin(turn),
            np.sin(cone) * np.cos(turn),
            zero - 2.0 * np.sin(cone / 2.0) ** 2,
        ),
        axis=1,
    )
    truth = quat_from_rotvec(cone * np.stack((np.cos(turn), np.sin(turn), zero), axis=1))
    found = integrate_gyro(gyro, rate_hz, truth[0])
    error = apart_deg(found, truth)
    assert error.max() < 0.15
    # Without the coning term the same increments drift away steadily.
    plain = vqf_gyro_only(
        np.vstack((np.zeros(3), compute_increments(gyro, rate_hz) * rate_hz)), rate_hz
    )
    assert error[-1] < 0.1 * apart_deg(quat_multiply(truth[0], plain), truth)[-1]


@pytest.mark.parametrize(("rate_hz", "bar_deg"), [(200.0, 0.01), (500.0, 0.001)])
def test_leg_like_motion_comes_back_as_it_was(rate_hz, bar_deg):
    truth, gyro = leg_like_motion(rate_hz)
    assert np.degrees(np.linalg.norm(gyro, axis=1).max()) > 700.0
    assert apart_deg(integrate_gyro(gyro, rate_hz, truth[0]), truth).max() < bar_deg


def test_agrees_with_vqf_and_is_nearer_to_the_truth():
    """vqf (Laidig & Seel 2023, Information Fusion 91:187) with its corrections switched off,
    fed with the mean rate of each interval."""
    rate_hz = 500.0
    truth, gyro = leg_like_motion(rate_hz)
    mean_rates = np.vstack((np.zeros(3), compute_increments(gyro, rate_hz) * rate_hz))
    other = quat_multiply(truth[0], vqf_gyro_only(mean_rates, rate_hz))
    ours = integrate_gyro(gyro, rate_hz, truth[0])
    assert apart_deg(ours, other).max() < 0.1
    assert apart_deg(ours, truth).max() < apart_deg(other, truth).max()
