"""Rotations against scipy.spatial.transform.Rotation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imuproc.dsp.rotations import (
    compute_sagittal_angle,
    cross,
    norm,
    quat_between,
    quat_conjugate,
    quat_cumulative_product,
    quat_from_matrix,
    quat_from_rotvec,
    quat_multiply,
    quat_normalise,
    quat_rotate,
    quat_to_matrix,
    quat_to_rotvec,
    skew,
)

quick = settings(deadline=None, max_examples=60)
seeds = st.integers(0, 2**31)


def random_quats(seed, *shape):
    q = np.random.default_rng(seed).normal(size=(*shape, 4))
    return q / np.linalg.norm(q, axis=-1, keepdims=True)


def scipy_rotation(q):
    return Rotation.from_quat(np.asarray(q).reshape(-1, 4)[:, [1, 2, 3, 0]])


def apart_rad(p, q):
    """Angle between two rotations, from scipy; the sign of a quaternion does not matter."""
    return (scipy_rotation(p).inv() * scipy_rotation(q)).magnitude()


@quick
@given(seed=seeds)
def test_product_inverse_and_matrix_equal_scipy(seed):
    p, q = random_quats(seed, 5), random_quats(seed + 1, 5)
    product = (scipy_rotation(p) * scipy_rotation(q)).as_quat()[:, [3, 0, 1, 2]]
    np.testing.assert_allclose(apart_rad(quat_multiply(p, q), product), 0.0, atol=1e-12)
    np.testing.assert_allclose(
        scipy_rotation(quat_conjugate(p)).as_matrix(),
        scipy_rotation(p).inv().as_matrix(),
        atol=1e-12,
    )
    np.testing.assert_allclose(quat_to_matrix(p), scipy_rotation(p).as_matrix(), atol=1e-12)


@quick
@given(seed=seeds)
def test_turned_vectors_equal_scipy_for_any_leading_shape(seed):
    q = random_quats(seed, 2, 3)
    v = np.random.default_rng(seed).normal(size=(2, 3, 3))
    expected = scipy_rotation(q).apply(v.reshape(-1, 3)).reshape(2, 3, 3)
    np.testing.assert_allclose(quat_rotate(q, v), expected, atol=1e-12)
    np.testing.assert_allclose(quat_rotate(q[0, 0], v[0, 0]), expected[0, 0], atol=1e-12)
    for axis in -2.5 * np.eye(3):  # a vector along one axis has a way of its own
        turned = quat_rotate(q, np.broadcast_to(axis, v.shape))
        np.testing.assert_allclose(quat_rotate(q, axis), turned, atol=1e-12)


@quick
@given(
    axis=st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda a: np.linalg.norm(a) > 0.1),
    angle=st.one_of(st.floats(0.0, 3.1415), st.sampled_from([0.0, 1e-15, 1e-9, 1e-6, 1e-3])),
)
def test_rotation_vectors_go_there_and_back_and_equal_scipy(axis, angle):
    rotvec = angle * np.array(axis) / np.linalg.norm(axis)
    q = quat_from_rotvec(rotvec)
    expected = Rotation.from_rotvec(rotvec).as_quat()[[3, 0, 1, 2]]
    np.testing.assert_allclose(q, expected, atol=1e-14)
    np.testing.assert_allclose(quat_to_rotvec(q), rotvec, atol=1e-11, rtol=1e-9)
    np.testing.assert_allclose(quat_to_rotvec(-q), rotvec, atol=1e-11, rtol=1e-9)


def test_rotation_by_more_than_half_a_turn_is_given_the_short_way():
    found = quat_to_rotvec(quat_from_rotvec(np.array([0.0, 0.0, np.radians(270.0)])))
    np.testing.assert_allclose(found, [0.0, 0.0, np.radians(-90.0)], atol=1e-12)


@quick
@given(seed=seeds, n=st.integers(0, 70))
def test_running_product_equals_one_after_the_other(seed, n):
    q = random_quats(seed, n)
    expected, so_far = np.empty((n, 4)), np.array([1.0, 0.0, 0.0, 0.0])
    for i in range(n):
        so_far = quat_multiply(so_far, q[i])
        expected[i] = so_far
    np.testing.assert_allclose(quat_cumulative_product(q), expected, atol=1e-12)


@quick
@given(seed=seeds)
def test_matrix_goes_there_and_back(seed):
    q = random_quats(seed)
    assert apart_rad(quat_from_matrix(scipy_rotation(q).as_matrix()[0]), q)[0] < 1e-7


@pytest.mark.parametrize("axis", np.eye(3))
def test_matrix_of_half_a_turn(axis):
    """The trace is -1 there: the common formula divides by zero."""
    matrix = Rotation.from_rotvec(np.pi * axis).as_matrix()
    np.testing.assert_allclose(quat_to_matrix(quat_from_matrix(matrix)), matrix, atol=1e-12)


@quick
@given(seed=seeds)
def test_shortest_rotation_between_directions(seed):
    a, b = np.random.default_rng(seed).normal(size=(2, 3))
    q = quat_between(a, b)
    np.testing.assert_allclose(
        quat_rotate(q, a) / np.linalg.norm(a), b / np.linalg.norm(b), atol=1e-9
    )
    angle = np.arccos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1.0, 1.0))
    assert np.linalg.norm(quat_to_rotvec(q)) == pytest.approx(angle, abs=1e-7)


@pytest.mark.parametrize("direction", [*np.eye(3), np.array([0.3, -0.2, 5.0])])
def test_opposite_directions_are_half_a_turn_apart(direction):
    q = quat_between(direction, -direction)
    np.testing.assert_allclose(quat_rotate(q, direction), -direction, atol=1e-9)
    assert np.linalg.norm(q) == pytest.approx(1.0)


@quick
@given(seed=seeds)
def test_skew_matrix_is_the_cross_product(seed):
    a, b = np.random.default_rng(seed).normal(size=(2, 4, 3))
    np.testing.assert_allclose((skew(a) @ b[..., None])[..., 0], np.cross(a, b), atol=1e-12)


def test_normalised_quaternions_have_unit_length():
    q = np.random.default_rng(0).normal(size=(6, 4)) * 7.0
    np.testing.assert_allclose(np.linalg.norm(quat_normalise(q), axis=-1), 1.0, rtol=1e-12)


def test_foot_pitch_is_toe_up_positive_and_runs_on_past_a_quarter_turn():
    """Axes X forward, Y left, Z up: toe up is a turn about -Y."""
    pitch = np.radians(np.linspace(20.0, -170.0, 100))
    q = quat_from_rotvec(pitch[:, None] * np.array([0.0, -1.0, 0.0]))
    found = compute_sagittal_angle(q, np.array([1.0, 0.0, 0.0]))
    np.testing.assert_allclose(np.degrees(found), np.degrees(pitch), atol=1e-9)


def test_shin_angle_is_below_90_with_the_knee_ahead():
    """Knee ahead of the ankle by 45 deg is a turn about +Y."""
    q = quat_from_rotvec(np.radians([[0.0, 45.0, 0.0]]))
    assert np.degrees(compute_sagittal_angle(q, np.array([0.0, 0.0, 1.0])))[0] == pytest.approx(
        45.0
    )


@quick
@given(seeds)
def test_cross_products_and_lengths_are_numpys_whatever_is_broadcast(seed):
    rng = np.random.default_rng(seed)
    many, one = rng.normal(size=(7, 3)), rng.normal(size=3)
    for a, b in ((many, many[::-1]), (many, one), (one, many), (one, one)):
        np.testing.assert_allclose(cross(a, b), np.cross(a, b), rtol=1e-13, atol=1e-15)
    np.testing.assert_allclose(norm(many), np.linalg.norm(many, axis=1), rtol=1e-14)
