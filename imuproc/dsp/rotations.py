"""Rotations as unit quaternions (w, x, y, z) and rotation vectors, vectorised over samples.

A quaternion turns the coordinates of a body frame into those of a reference frame. Arrays have the
components on the last axis and may have any leading shape. Source of the formulas: standard
quaternion algebra (e.g. Diebel 2006, *Representing Attitude*), checked in the tests against
``scipy.spatial.transform.Rotation``.
"""

from math import factorial

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product, shape (..., 3) each, broadcast; several times as fast as ``numpy.cross``."""
    ax, ay, az = a[..., 0], a[..., 1], a[..., 2]
    bx, by, bz = b[..., 0], b[..., 1], b[..., 2]
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[..., 0] = ay * bz - az * by
    out[..., 1] = az * bx - ax * bz
    out[..., 2] = ax * by - ay * bx
    return out


def norm(vector: FloatArray) -> FloatArray:
    """Euclidean length along the last axis, shape (..., k) to (...)."""
    return np.asarray(np.sqrt(_squared_norm(vector)))


def _squared_norm(vector: FloatArray) -> FloatArray:
    """Squared length along the last axis; by matrix product, which is fast along a short axis."""
    return np.asarray((vector * vector) @ np.ones(vector.shape[-1]))


def quat_multiply(p: FloatArray, q: FloatArray) -> FloatArray:
    """Quaternion product; the rotation q is applied first.

    Parameters
    ----------
    p, q : ndarray, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 4)
    """
    (a, b), (c, d) = _split_into_halves(p), _split_into_halves(q)
    out = np.empty((*np.broadcast_shapes(a.shape, c.shape), 2), dtype=np.complex128)
    out[..., 0], out[..., 1] = _multiply_halves(a, b, c, d)
    return out.view(np.float64)


def _multiply_halves(
    a: ComplexArray, b: ComplexArray, c: ComplexArray, d: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Halves of the product of a + b j and c + d j."""
    return a * c - b * d.conj(), a * d + b * c.conj()


def _split_into_halves(q: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """The complex a and b of the quaternion a + b j: few and fast products (Cayley-Dickson)."""
    halves = np.ascontiguousarray(q, dtype=np.float64).view(np.complex128)
    return halves[..., 0], halves[..., 1]


def quat_conjugate(q: FloatArray) -> FloatArray:
    """Inverse of unit quaternions, shape (..., 4)."""
    return np.asarray(q * np.array([1.0, -1.0, -1.0, -1.0]))


def quat_normalise(q: FloatArray) -> FloatArray:
    """Quaternions scaled to unit length, shape (..., 4)."""
    return np.asarray(q / norm(q)[..., None])


def quat_from_rotvec(rotvec_rad: FloatArray) -> FloatArray:
    """Unit quaternions of rotation vectors.

    Parameters
    ----------
    rotvec_rad : ndarray, shape (..., 3)
        Axis times angle in rad.

    Returns
    -------
    ndarray, shape (..., 4)
    """
    squared = 0.25 * _squared_norm(rotvec_rad)
    out = np.empty((*rotvec_rad.shape[:-1], 4))
    if squared.max(initial=0.0) < _SMALL_SQUARED_RAD2:  # as from one sample to the next
        out[..., 0], half_ratio = _sum_series(squared, _COSINE), _sum_series(squared, _HALF_RATIO)
    else:
        half = np.sqrt(squared)
        out[..., 0] = np.cos(half)
        half_ratio = np.divide(
            0.5 * np.sin(half), half, out=np.full_like(half, 0.5), where=half > 1e-12
        )
    for axis in range(3):  # three times as fast as all axes at once
        np.multiply(half_ratio, rotvec_rad[..., axis], out=out[..., axis + 1])
    return out


_SMALL_SQUARED_RAD2 = 0.01
_COSINE = tuple((-1.0) ** k / factorial(2 * k) for k in range(6))
_HALF_RATIO = tuple(0.5 * (-1.0) ** k / factorial(2 * k + 1) for k in range(6))


def _sum_series(x: FloatArray, terms: tuple[float, ...]) -> FloatArray:
    """Sum of terms times powers of x (Horner)."""
    out = terms[-1] * x
    for term in terms[-2:0:-1]:
        out += term
        out *= x
    out += terms[0]
    return np.asarray(out)


def quat_to_rotvec(q: FloatArray) -> FloatArray:
    """Rotation vectors in rad (angle at most pi) of unit quaternions, shape (..., 3)."""
    positive = np.where(q[..., :1] < 0.0, -q, q)
    sine = norm(positive[..., 1:])[..., None]
    angle = 2.0 * np.arctan2(sine, positive[..., :1])
    scale = np.divide(angle, sine, out=np.full_like(sine, 2.0), where=sine > 1e-12)
    return np.asarray(scale * positive[..., 1:])


def quat_to_matrix(q: FloatArray) -> FloatArray:
    """Rotation matrices of unit quaternions.

    Parameters
    ----------
    q : ndarray, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 3, 3)
    """
    w, x, y, z = _split_components(q)
    out = np.empty((*q.shape[:-1], 3, 3))
    for i, (across, after) in enumerate(((y, z), (z, x), (x, y))):
        out[..., i, i] = 1.0 - 2.0 * (across * across + after * after)
    for i, j, product, turn in ((0, 1, x * y, w * z), (1, 2, y * z, w * x), (2, 0, z * x, w * y)):
        out[..., i, j] = 2.0 * (product - turn)
        out[..., j, i] = 2.0 * (product + turn)
    return out


def _split_components(vector: FloatArray) -> tuple[FloatArray, ...]:
    """Components along the last axis, each contiguous: arithmetic is faster on them."""
    by_axis = vector.T if vector.ndim <= 2 else np.moveaxis(vector, -1, 0)  # the former at once
    return tuple(np.ascontiguousarray(by_axis))


def quat_rotate(q: FloatArray, vector: FloatArray) -> FloatArray:
    """Vectors turned by unit quaternions.

    Parameters
    ----------
    q : ndarray, shape (..., 4)
    vector : ndarray, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3)
    """
    if q.ndim == 1:  # one rotation of many vectors
        return np.asarray(vector @ quat_to_matrix(q).T)
    if vector.ndim == 1 and np.count_nonzero(vector) == 1:
        return _rotate_body_axis(q, vector)
    (w, x, y, z), (a, b, c) = _split_components(q), _split_components(vector)
    # Twice the cross product of the axis and the vector, and that product once more.
    ta, tb, tc = 2.0 * (y * c - z * b), 2.0 * (z * a - x * c), 2.0 * (x * b - y * a)
    out = np.empty(np.broadcast_shapes((*q.shape[:-1], 3), vector.shape))
    out[..., 0] = a + w * ta + y * tc - z * tb
    out[..., 1] = b + w * tb + z * ta - x * tc
    out[..., 2] = c + w * tc + x * tb - y * ta
    return out


def _rotate_body_axis(q: FloatArray, vector: FloatArray) -> FloatArray:
    """A vector along one body axis turned by many rotations: a column of each matrix."""
    i = int(np.flatnonzero(vector)[0])
    j, k = (i + 1) % 3, (i + 2) % 3
    w, *axis = _split_components(q)
    out = np.empty((*q.shape[:-1], 3))
    out[..., i] = 1.0 - 2.0 * (axis[j] * axis[j] + axis[k] * axis[k])
    out[..., j] = 2.0 * (axis[i] * axis[j] + w * axis[k])
    out[..., k] = 2.0 * (axis[i] * axis[k] - w * axis[j])
    return out if vector[i] == 1.0 else vector[i] * out


def quat_cumulative_product(q: FloatArray) -> FloatArray:
    """Running product q[0], q[0]*q[1], q[0]*q[1]*q[2], ... in linear time.

    Blocks of samples are multiplied up side by side, and the running product of the blocks is found
    by recursion (parallel prefix, Blelloch 1990), so that there is no loop over samples.

    Parameters
    ----------
    q : ndarray, shape (n, 4)

    Returns
    -------
    ndarray, shape (n, 4)
    """
    out = np.empty((len(q), 2), dtype=np.complex128)
    out[:, 0], out[:, 1] = _multiply_cumulatively(*_split_into_halves(q))
    return out.view(np.float64)


_BLOCK_SAMPLES = 6
"""Multiplied one after the other, all blocks at once. Any number gives the same; chosen: fast."""


def _multiply_cumulatively(a: ComplexArray, b: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """Halves of the running product of the quaternions a + b j, shape (n,) each."""
    n = len(a)
    blocks = -(-n // _BLOCK_SAMPLES)
    first, second = np.zeros((2, blocks * _BLOCK_SAMPLES), dtype=np.complex128)
    first[:n], second[:n], first[n:] = a, b, 1.0
    line, other = first.reshape(blocks, _BLOCK_SAMPLES), second.reshape(blocks, _BLOCK_SAMPLES)
    for place in range(1, _BLOCK_SAMPLES):
        before = line[:, place - 1], other[:, place - 1]
        line[:, place], other[:, place] = _multiply_halves(*before, line[:, place], other[:, place])
    if blocks > 1:
        gathered = _multiply_cumulatively(line[:-1, -1], other[:-1, -1])
        before = np.repeat(gathered[0], _BLOCK_SAMPLES), np.repeat(gathered[1], _BLOCK_SAMPLES)
        first[_BLOCK_SAMPLES:], second[_BLOCK_SAMPLES:] = _multiply_halves(
            *before, first[_BLOCK_SAMPLES:], second[_BLOCK_SAMPLES:]
        )
    return first[:n], second[:n]


def quat_from_matrix(matrix: FloatArray) -> FloatArray:
    """Unit quaternion of one rotation matrix, shape (3, 3) to (4,)."""
    diagonal = np.array([matrix[0, 0], matrix[1, 1], matrix[2, 2]])
    trace = float(diagonal.sum())
    squares = np.array([1.0 + trace, *(1.0 + 2.0 * diagonal - trace)])
    largest = int(np.argmax(squares))
    symmetric, skew = matrix + matrix.T, matrix - matrix.T
    column = np.empty((4, 4))
    column[0] = [squares[0], skew[2, 1], skew[0, 2], skew[1, 0]]
    column[1] = [skew[2, 1], squares[1], symmetric[0, 1], symmetric[0, 2]]
    column[2] = [skew[0, 2], symmetric[0, 1], squares[2], symmetric[1, 2]]
    column[3] = [skew[1, 0], symmetric[0, 2], symmetric[1, 2], squares[3]]
    return quat_normalise(column[largest])


def quat_between(start: FloatArray, end: FloatArray) -> FloatArray:
    """Unit quaternion of the shortest rotation that turns one direction into another, shape (4,).

    Parameters
    ----------
    start, end : ndarray, shape (3,)
        Directions; need not have unit length.
    """
    a, b = start / np.linalg.norm(start), end / np.linalg.norm(end)
    cosine = float(a @ b)
    if cosine < -1.0 + 1e-12:  # opposite: any axis across will do
        across = cross(a, np.eye(3)[int(np.argmin(np.abs(a)))])
        return np.concatenate(([0.0], across / np.linalg.norm(across)))
    return quat_normalise(np.concatenate(([1.0 + cosine], cross(a, b))))


def skew(vector: FloatArray) -> FloatArray:
    """Matrices of the cross product: skew(a) @ b = a x b, shape (..., 3) to (..., 3, 3)."""
    out = np.zeros((*vector.shape[:-1], 3, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., j, i] = vector[..., k]
        out[..., i, j] = -vector[..., k]
    return out


def compute_sagittal_angle(q: FloatArray, axis: FloatArray) -> FloatArray:
    """Angle of a body axis in the reference X-Z plane, from +X towards +Z, continuous in time.

    Parameters
    ----------
    q : ndarray, shape (n, 4)
        Turns body into reference coordinates.
    axis : ndarray, shape (3,)
        Body axis, e.g. (1, 0, 0) for foot pitch or (0, 0, 1) for shin angle.

    Returns
    -------
    ndarray, shape (n,)
        Angle in rad, unwrapped, the first sample within (-pi, pi].
    """
    direction = quat_rotate(q, axis)
    return unwrap(np.arctan2(direction[..., 2], direction[..., 0]))


def unwrap(angle_rad: FloatArray) -> FloatArray:
    """Angles without leaps of a whole turn, shape (n,): ``numpy.unwrap`` where there are any."""
    if np.abs(np.diff(angle_rad)).max(initial=0.0) < np.pi:
        return angle_rad
    return np.asarray(np.unwrap(angle_rad))
