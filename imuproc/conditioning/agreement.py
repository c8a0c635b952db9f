"""Do accelerometer and gyroscope of one sensor tell of the same motion?

Between two rests the velocity comes back to nothing and gravity to the vertical. Where the signals
of the gyroscope stand in the wrong columns or with the wrong sign, the specific force is turned the
wrong way and neither holds; with the right columns both do. In 32 made-up
sensors on 8 real runs the mean force left over was 0.1 to 0.3 m/s² (first rest to last, per time of
running); in 24 of them with a column exchanged or reversed it was 2 to 14 m/s².
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.axes import Stretch
from imuproc.core.recording import Interval
from imuproc.dsp.filters import block_means
from imuproc.dsp.integration import integrate_gyro
from imuproc.dsp.rotations import quat_rotate

FloatArray = NDArray[np.float64]

_RATE_HZ = 200.0
_DOUBTFUL_MPS2 = 1.2
_FITS_MPS2 = 0.8
_FITS_RAD = np.radians(12.0)
_CLEARLY = 3.0


def axes_fault(stretch: Stretch, rests: tuple[Interval, ...]) -> str:
    """What is wrong with the columns of a sensor; empty where nothing is, or cannot be told.

    Parameters
    ----------
    stretch : Stretch
        The signals around a run.
    rests : tuple of Interval
        Still stretches of the sensor; with fewer than two nothing can be told.

    Returns
    -------
    str
        For people: how far the two sensors disagree, and with which columns they would agree.
    """
    if len(rests) < 2 or not stretch.running.any():
        return ""
    thin = _thinned(stretch, rests)
    left_over, _ = thin.misfit(thin.gyro_radps)
    if left_over < _DOUBTFUL_MPS2:
        return ""
    best_left, best = np.inf, np.eye(3)
    for matrix in _exchanges():
        left, tilt_rad = thin.misfit(thin.gyro_radps @ matrix.T)
        if tilt_rad < _FITS_RAD and left < best_left:
            best_left, best = left, matrix
    if best_left > _FITS_MPS2 or _CLEARLY * best_left > left_over:
        return ""
    return (
        f"not used: turned as the gyroscope says, the acceleration of the run is off by "
        f"{left_over:.1f} m/s^2 on average; {_in_words(best)} it is off by {best_left:.1f} m/s^2"
    )


@dataclass(frozen=True, eq=False)
class _Thin:
    """Block means of a stretch, and which of them are of each rest, of the run, in between."""

    accel_mps2: FloatArray
    gyro_radps: FloatArray
    rate_hz: float
    rests: tuple[NDArray[np.bool_], ...]
    between: NDArray[np.bool_]
    running: int

    def misfit(self, gyro_radps: FloatArray) -> tuple[float, float]:
        """Mean force left over in m/s², and how far gravity tilts between rests in rad."""
        chain = integrate_gyro(gyro_radps, self.rate_hz, np.array([1.0, 0.0, 0.0, 0.0]))
        force = quat_rotate(chain[: len(self.accel_mps2)], self.accel_mps2)
        at_rest = np.array([force[rest].mean(axis=0) for rest in self.rests])
        up = at_rest / np.linalg.norm(at_rest, axis=1, keepdims=True)
        tilt_rad = float(np.arccos(np.clip(up @ up[0], -1.0, 1.0)).max())
        gained = force[self.between].mean(axis=0) - 0.5 * (at_rest[0] + at_rest[-1])
        share = int(self.between.sum()) / max(self.running, 1)
        return float(np.linalg.norm(gained)) * share, tilt_rad


def _thinned(stretch: Stretch, rests: tuple[Interval, ...]) -> _Thin:
    block = max(1, int(stretch.rate_hz / _RATE_HZ))
    accel = block_means(stretch.accel_mps2, block)
    middle = slice(block // 2, len(accel) * block, block)
    time_s = stretch.time_s[middle]
    masks = [(time_s >= rest.start_s) & (time_s <= rest.end_s) for rest in rests]
    return _Thin(
        accel_mps2=accel,
        gyro_radps=block_means(stretch.gyro_radps, block),
        rate_hz=stretch.rate_hz / block,
        rests=tuple(mask for mask in masks if mask.any()),
        between=(time_s > rests[0].end_s) & (time_s < rests[-1].start_s),
        running=int(stretch.running[middle].sum()),
    )


@lru_cache(maxsize=1)
def _exchanges() -> tuple[FloatArray, ...]:
    """Every way of exchanging and reversing three columns but the one that changes nothing."""
    out = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.diag(signs) @ np.eye(3)[list(order)]
            if not np.array_equal(matrix, np.eye(3)):
                out.append(matrix)
    return tuple(out)


def _in_words(matrix: FloatArray) -> str:
    """Which columns to take for x, y and z."""
    words = []
    for row in matrix:
        axis = int(np.argmax(np.abs(row)))
        words.append(f"{'-' if row[axis] < 0.0 else ''}{'xyz'[axis]}")
    return f"with {', '.join(words)} of the gyroscope for its x, y, z"
