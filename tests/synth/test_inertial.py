"""Ideal signals of a moving segment, and the pose track they come from."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imuproc.dsp.integration import cumulative_integral, integrate_gyro
from imuproc.dsp.rotations import quat_from_matrix, quat_to_matrix
from imuproc.synth.poses import PoseTrack
from imuproc.synth.sensors.ideal import Mount, compute_ideal_signals, draw_mount

G = 9.81
RATE_HZ = 2000.0


def shaken_track(duration_s: float = 8.0) -> PoseTrack:
    """A segment that turns and moves as fast as a sprinter's shank (1 rad at 2.5 Hz)."""
    t = np.arange(0.0, duration_s, 1.0 / RATE_HZ)
    turn = np.column_stack((0.2 * np.sin(9 * t), 1.0 * np.sin(16 * t), 0.3 * np.cos(11 * t)))
    place = np.column_stack(
        (9 * t + 0.3 * np.sin(16 * t), 0.1 * np.sin(8 * t), 0.2 * np.cos(32 * t))
    )
    return PoseTrack(t, Rotation.from_rotvec(turn).as_matrix(), place)


@pytest.mark.parametrize("site", ["left_shank", "right_foot", "pelvis"])
def test_integrating_back_returns_the_pose(site: str) -> None:
    track = shaken_track()
    mount = draw_mount(np.random.default_rng(4), site)  # type: ignore[arg-type]
    accel, gyro = compute_ideal_signals(track, mount, G)
    turn = mount.sensor_from_segment  # row vectors: x_sensor @ turn is in segment axes
    back = quat_to_matrix(
        integrate_gyro(gyro @ turn, track.rate_hz, quat_from_matrix(track.rotation[0]))
    )
    wrong = Rotation.from_matrix(np.swapaxes(back, 1, 2) @ track.rotation).magnitude()
    assert np.degrees(wrong.max()) < 1e-4
    world = np.einsum("nij,nj->ni", back, accel @ turn) - np.array([0.0, 0.0, G])
    place = track.compute_point_m(mount.position_m)
    start = np.gradient(place[:9], axis=0, edge_order=2)[0] * track.rate_hz
    velocity = start + cumulative_integral(world, track.rate_hz)
    truth = np.gradient(place, axis=0) * track.rate_hz
    assert np.abs(velocity - truth)[1:-1].max() < 0.003
    moved = cumulative_integral(velocity, track.rate_hz)
    assert np.abs(place[0] + moved - place).max() < 0.02


def test_spinning_arm_reads_omega_squared_r() -> None:
    """omega^2 r: an arm of 0.3 m reaches 16 g at 1310 deg/s (arithmetic, not a source)."""
    t = np.arange(0.0, 0.5, 1.0 / RATE_HZ)
    omega = np.radians(1310.0)
    spin = Rotation.from_rotvec(np.column_stack((0 * t, omega * t, 0 * t))).as_matrix()
    track = PoseTrack(t, spin, np.zeros((len(t), 3)))
    accel, gyro = compute_ideal_signals(track, Mount(np.eye(3), np.array([0.0, 0.0, -0.3])), 0.0)
    np.testing.assert_allclose(gyro, np.tile([0.0, omega, 0.0], (len(t), 1)), atol=1e-6)
    np.testing.assert_allclose(accel[:, 2] / 9.80665, 16.0, atol=0.02)
    np.testing.assert_allclose(accel[:, :2], 0.0, atol=1e-3)


def test_at_rest_upside_down_the_sensor_reads_minus_g() -> None:
    t = np.arange(0.0, 0.1, 1.0 / RATE_HZ)
    track = PoseTrack(t, np.tile(np.eye(3), (len(t), 1, 1)), np.full((len(t), 3), 70.0))
    over = np.diag([1.0, -1.0, -1.0])
    accel, gyro = compute_ideal_signals(track, Mount(over, np.zeros(3)), G)
    np.testing.assert_allclose(accel, np.tile([0.0, 0.0, -G], (len(t), 1)), atol=1e-6)
    np.testing.assert_allclose(gyro, 0.0, atol=1e-9)


def test_mounts_take_every_rotation_and_stay_on_their_segment() -> None:
    rng = np.random.default_rng(0)
    shanks = [draw_mount(rng, "right_shank") for _ in range(200)]
    ups = np.array([m.sensor_from_segment[2, 2] for m in shanks])
    assert ups.min() < -0.9  # upside down happens
    assert ups.max() > 0.9
    assert all(np.isclose(np.linalg.det(m.sensor_from_segment), 1.0) for m in shanks)
    places = np.array([m.position_m for m in shanks])
    assert places[:, 2].min() >= 0.15
    assert places[:, 2].max() <= 0.30
    assert places[:, 1].max() <= 0.0  # the outer side of the right leg is to the right
    assert places[:, 0].min() > 0.0


@pytest.mark.parametrize(
    ("time_s", "rows", "reason"),
    [
        (np.arange(9.0), 8, "9 stamps need rotation"),
        (np.arange(5.0), 5, "7 samples or more"),
        (np.array([0, 1, 2, 3, 4, 5, 7.0]), 7, "regular and rising"),
        (-np.arange(9.0), 9, "regular and rising"),
    ],
)
def test_a_track_that_cannot_be_differentiated_is_refused(
    time_s: np.ndarray, rows: int, reason: str
) -> None:
    with pytest.raises(ValueError, match=reason):
        PoseTrack(time_s, np.tile(np.eye(3), (rows, 1, 1)), np.zeros((rows, 3)))
