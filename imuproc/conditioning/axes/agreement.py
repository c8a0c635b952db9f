"""Do accelerometer and gyroscope of one sensor tell of the same motion?

Between two rests the velocity comes back to nothing and gravity to the vertical. Where the signals
of the gyroscope stand in the wrong columns or with the wrong sign, the specific force is turned the
wrong way and hardly ever do both hold; with the right columns both do. Both are forces per mass, so
together they are one misfit: with simulated sensors of the usual grade it was 0.1 to 1.4 m/s² as
they were and 4 to 59 m/s² with columns exchanged or reversed, 6 times and more what the right
columns left (40 sprints, 32 real runs). In 1380 sensors with clipping, gaps, a slip, a zero that
moves or no fault no exchange that left up to 1.5 m/s² was better by more than 1.5 times, and none
that left up to 2.5 m/s² by more than 6 times.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.axes.segment_axes import CoarseRecord, SensorRecord
from imuproc.core.recording import Interval
from imuproc.dsp.rotations import quat_rotate
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]


class ColumnsSettings(StageSettings):
    """When the columns of a gyroscope are not those of its accelerometer."""

    basis = (
        "in 1380 sensors with clipping, gaps, a slip, a zero that moves or no fault, no exchange "
        "that left up to 1.5 m/s^2 was better by more than 1.5 times, and none that left up to "
        "2.5 m/s^2 by more than 6 times (simulated sprints and real runs)"
    )
    sound_mps2: float = number(
        1.5, (0.0, 50.0), "A sensor whose two parts disagree by less is sound."
    )
    fits_mps2: float = number(2.5, (0.0, 50.0), "The right columns leave no more.")
    clearly_ratio: float = number(
        4.0,
        (1.0, 100.0),
        "So many times better the right columns fit; twice as many where they leave more than a "
        "sound sensor does.",
    )

    ordered = (("sound_mps2", "fits_mps2"),)


@dataclass(frozen=True)
class AxesFault:
    """Accelerometer and gyroscope that do not turn together.

    Parameters
    ----------
    off_mps2 : float
        By how much gravity and the acceleration of the run are off in m/s², turned as the
        gyroscope says.
    columns : str
        Columns of the gyroscope with which they would agree, in place of x, y and z.
    then_off_mps2 : float
        By how much they are off with those.
    """

    off_mps2: float
    columns: str
    then_off_mps2: float


def find_axes_fault(
    record: SensorRecord, rests: tuple[Interval, ...], settings: ColumnsSettings
) -> AxesFault | None:
    """What is wrong with the columns of a sensor; None where nothing is, or cannot be told.

    Parameters
    ----------
    record : SensorRecord
        The signals around a run.
    rests : tuple of Interval
        Rests of the sensor; with fewer than two nothing can be told.
    settings : ColumnsSettings

    Returns
    -------
    AxesFault or None
    """
    if len(rests) < 2 or not record.running.any():
        return None
    coarse = _make_coarse(record, rests)
    if len(coarse.rests) < 2 or not coarse.between.any():
        return None
    own = coarse.measure_misfit(record.coarse.quat_wxyz)
    if own < settings.sound_mps2:
        return None
    misfits = [
        coarse.measure_misfit(coarse.integrate_columns(matrix))
        for matrix in _list_column_exchanges()
    ]
    best = min(misfits)
    clearly = settings.clearly_ratio * (1.0 if best <= settings.sound_mps2 else 2.0)
    if best > settings.fits_mps2 or clearly * best > own:
        return None
    return AxesFault(own, _describe_columns(_list_column_exchanges()[misfits.index(best)]), best)


@dataclass(frozen=True, eq=False)
class _CoarseRecord:
    """A record at a coarse rate, and which samples are of each rest, of the run, in between."""

    coarse: CoarseRecord
    rests: tuple[NDArray[np.bool_], ...]
    between: NDArray[np.bool_]
    running: int

    def integrate_columns(self, matrix: FloatArray) -> FloatArray:
        """Orientation where columns of the gyroscope stand for others, shape (m, 4)."""
        return replace(self.coarse, gyro_radps=self.coarse.gyro_radps @ matrix.T).quat_wxyz

    def measure_misfit(self, quat_wxyz: FloatArray) -> float:
        """Mean force left over in the run, and how far gravity differs between rests, in m/s²."""
        force = quat_rotate(quat_wxyz, self.coarse.accel_mps2)
        at_rest = np.array([force[rest].mean(axis=0) for rest in self.rests])
        apart = np.linalg.norm(at_rest[:, None] - at_rest, axis=2).max()
        gained = force[self.between].mean(axis=0) - 0.5 * (at_rest[0] + at_rest[-1])
        share = int(self.between.sum()) / max(self.running, 1)
        return float(np.hypot(np.linalg.norm(gained) * share, apart))


def _make_coarse(record: SensorRecord, rests: tuple[Interval, ...]) -> _CoarseRecord:
    time_s = record.time_s[record.coarse.middle]
    masks = [(time_s >= rest.start_s) & (time_s <= rest.end_s) for rest in rests]
    return _CoarseRecord(
        coarse=record.coarse,
        rests=tuple(mask for mask in masks if mask.any()),
        between=(time_s > rests[0].end_s) & (time_s < rests[-1].start_s),
        running=int(record.running[record.coarse.middle].sum()),
    )


@lru_cache(maxsize=1)
def _list_column_exchanges() -> tuple[FloatArray, ...]:
    """Every way of exchanging and reversing three columns but the one that changes nothing."""
    out = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.diag(signs) @ np.eye(3)[list(order)]
            if not np.array_equal(matrix, np.eye(3)):
                out.append(matrix)
    return tuple(out)


def _describe_columns(matrix: FloatArray) -> str:
    """Which columns to take for x, y and z."""
    words = []
    for row in matrix:
        axis = int(np.argmax(np.abs(row)))
        words.append(f"{'-' if row[axis] < 0.0 else ''}{'xyz'[axis]}")
    return ", ".join(words)
