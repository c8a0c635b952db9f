"""What a perfect inertial sensor on a moving segment reads."""

from dataclasses import dataclass
from math import cos, factorial, pi, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import Site, is_foot, is_thigh
from imuproc.dsp.rotations import quat_normalise, quat_to_matrix
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

_HALF: Final = 3
"""Samples on each side of the difference stencils: sixth order."""


@dataclass(frozen=True, eq=False)
class Mount:
    """How a sensor sits on its segment.

    Parameters
    ----------
    sensor_from_segment : ndarray, shape (3, 3)
        Turns segment axes into sensor axes.
    position_m : ndarray, shape (3,)
        Sensor from the segment origin in m, segment axes.
    """

    sensor_from_segment: FloatArray
    position_m: FloatArray


def draw_mount(rng: np.random.Generator, site: Site) -> Mount:
    """Draw a mounting: any rotation at all (upside down included), a plausible place.

    Parameters
    ----------
    rng : numpy Generator
    site : Site
        Shank: 0.15 to 0.30 m above the ankle, on the front to outer face. Foot: on the instep.
        Thigh: front to outer face, about half-way. Pelvis: over the sacrum. Trunk: between the
        shoulder blades.

    Returns
    -------
    Mount

    Notes
    -----
    Places: common practice, no source. The rotation is uniform over all rotations (a normalised
    quaternion of four normal numbers; Muller 1959, Commun ACM 2:19).
    """
    rotation = quat_to_matrix(quat_normalise(rng.normal(size=4)))
    outer = -1.0 if site.startswith("right") else 1.0
    if is_foot(site):
        position = np.array(
            [rng.uniform(0.10, 0.15), outer * rng.uniform(-0.01, 0.01), rng.uniform(0.06, 0.08)]
        )
    elif is_thigh(site):
        around, radius = rng.uniform(0.0, pi / 2.0), rng.uniform(0.06, 0.09)
        position = np.array(
            [radius * cos(around), outer * radius * sin(around), rng.uniform(0.15, 0.25)]
        )
    elif site == "trunk":
        position = np.array([rng.uniform(-0.14, -0.10), rng.uniform(-0.01, 0.01), 0.30])
    elif site == "pelvis":
        position = np.array([rng.uniform(-0.12, -0.09), rng.uniform(-0.01, 0.01), 0.0])
    else:
        around, radius = rng.uniform(0.0, pi / 3.0), rng.uniform(0.04, 0.06)
        position = np.array(
            [radius * cos(around), outer * radius * sin(around), rng.uniform(0.15, 0.30)]
        )
    return Mount(rotation, position)


def _solve_difference_weights(offsets: NDArray[np.int64], order: int) -> FloatArray:
    """Finite-difference weights at offset 0 for unit spacing (solution of the Taylor system)."""
    powers = np.vander(offsets.astype(np.float64), increasing=True).T
    wanted = np.zeros(len(offsets))
    wanted[order] = factorial(order)
    return np.asarray(np.linalg.solve(powers, wanted))


def _differentiate_twice(x: FloatArray, rate_hz: float) -> FloatArray:
    """Second derivative along axis 0: seven-point differences, one-sided at the ends."""
    n, offsets = len(x), np.arange(-_HALF, _HALF + 1)
    out = np.empty_like(x)
    # The mean is taken out: far from the origin, rounding would otherwise show at high rates.
    level = x - x.mean(axis=0)
    out[_HALF : n - _HALF] = sum(
        w * level[_HALF + k : n - _HALF + k]
        for k, w in zip(offsets, _solve_difference_weights(offsets, 2), strict=True)
    )
    for i in (*range(_HALF), *range(n - _HALF, n)):
        first = min(max(i - _HALF, 0), n - 2 * _HALF - 1)
        rows = np.arange(first, first + 2 * _HALF + 1)
        out[i] = _solve_difference_weights(rows - i, 2) @ level[rows]
    return out * rate_hz**2


def _to_small_rotvec(matrix: FloatArray) -> FloatArray:
    """Rotation vectors in rad of matrices that turn by well less than pi, (n, 3, 3) to (n, 3)."""
    axis = 0.5 * np.stack(
        (
            matrix[:, 2, 1] - matrix[:, 1, 2],
            matrix[:, 0, 2] - matrix[:, 2, 0],
            matrix[:, 1, 0] - matrix[:, 0, 1],
        ),
        axis=1,
    )
    sine = np.linalg.norm(axis, axis=1)
    angle = np.arctan2(sine, 0.5 * (np.trace(matrix, axis1=1, axis2=2) - 1.0))
    scale = np.divide(angle, sine, out=np.ones_like(sine), where=sine > 1e-12)
    return np.asarray(axis * scale[:, None])


def _compute_angular_velocity(rotation: FloatArray, rate_hz: float) -> FloatArray:
    """Angular velocity in body axes from rotation vectors to the neighbouring samples.

    Seen from sample i, its neighbours' rotation vectors have the body's angular velocity as their
    derivative exactly (the kernel of the exponential map is the identity at zero), so a plain
    seven-point difference of them is of sixth order.
    """
    n = len(rotation)
    out = np.zeros((n, 3))
    inner = np.arange(_HALF, n - _HALF)
    groups = [(inner, np.arange(-_HALF, _HALF + 1))]
    for i in (*range(_HALF), *range(n - _HALF, n)):
        first = min(max(i - _HALF, 0), n - 2 * _HALF - 1)
        groups.append((np.array([i]), np.arange(first, first + 2 * _HALF + 1) - i))
    for rows, offsets in groups:
        for k, w in zip(offsets, _solve_difference_weights(offsets, 1), strict=True):
            turn = np.swapaxes(rotation[rows], 1, 2) @ rotation[rows + k]
            out[rows] += w * _to_small_rotvec(turn)
    return out * rate_hz


def compute_ideal_signals(
    track: PoseTrack, mount: Mount, gravity_mps2: float
) -> tuple[FloatArray, FloatArray]:
    """Specific force and angular velocity at the track's stamps, in sensor axes.

    Parameters
    ----------
    track : PoseTrack
        n samples.
    mount : Mount
    gravity_mps2 : float
        Local gravity in m/s²; it acts along world -Z.

    Returns
    -------
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        What a perfect accelerometer and gyroscope read, in m/s² and rad/s.

    Notes
    -----
    Derivatives are seven-point differences (sixth order), one-sided at the ends.
    """
    acceleration = _differentiate_twice(track.compute_point_m(mount.position_m), track.rate_hz)
    acceleration[:, 2] += gravity_mps2
    in_segment = np.einsum("nji,nj->ni", track.rotation, acceleration)
    gyro = _compute_angular_velocity(track.rotation, track.rate_hz)
    return in_segment @ mount.sensor_from_segment.T, gyro @ mount.sensor_from_segment.T
