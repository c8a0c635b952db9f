"""Each log on a regular grid of its own clock, and where it moves: what clocks are compared by."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.clipping import RangeSettings, find_clipped_samples
from imuproc.conditioning.samples.stamps import StampSettings, repair_stamps
from imuproc.core.recording import SensorLog
from imuproc.dsp.filters import average_blocks, find_finite_rows
from imuproc.dsp.resampling import interpolate, make_regular_grid
from imuproc.dsp.rotations import norm
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

GRID_HZ = 200.0
"""Fine enough for what is compared, all of it below 40 Hz."""

_THINNED_HZ = 250.0
"""Logs are averaged down to this or a little more before they are put on the grid."""
BLOCK_S = 0.1
"""Activity is told by means over so much time."""


class BusySettings(StageSettings):
    """Stretches of motion by which clocks are compared."""

    fast_radps: float = number(
        1.8, (0.1, 30.0), "A sensor that turns faster is in motion, by means over 0.1 s."
    )
    quiet_s: float = number(1.0, (0.1, 60.0), "A longer rest parts two stretches of motion.")
    shortest_s: float = number(1.5, (0.1, 60.0), "Shorter stretches are left out.")
    margin_s: float = number(
        1.2,
        (0.0, 60.0),
        "Standing that is added on both sides: it makes certain which stride fits.",
    )


@dataclass(frozen=True, eq=False)
class OwnGrid:
    """One log at 200 Hz on its own clock.

    Parameters
    ----------
    start_s : float
        Stamp of the first sample.
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        Sensor axes; gaps are bridged.
    level_radps : ndarray, shape (k,)
        Mean size of the angular velocity in blocks of 0.1 s.
    clipped : ndarray of bool, shape (n,)
        Samples at the end of the range of either sensor, or next to one.
    period_s : float
        From sample to sample of the log itself.
    """

    start_s: float
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    level_radps: FloatArray
    clipped: BoolArray
    period_s: float = 1.0 / GRID_HZ

    @property
    def span_s(self) -> float:
        """Length in s."""
        return (len(self.accel_mps2) - 1) / GRID_HZ

    def find_rows(self, start_s: float, end_s: float) -> slice:
        """Samples between two stamps."""
        first, last = (round((t - self.start_s) * GRID_HZ) for t in (start_s, end_s))
        return slice(max(first, 0), max(min(last, len(self.accel_mps2)), 0))


def make_own_grid(log: SensorLog, settings: StampSettings, ranges: RangeSettings) -> OwnGrid:
    """One log at 200 Hz on its own clock.

    Parameters
    ----------
    log : SensorLog
    settings : StampSettings
    ranges : RangeSettings

    Returns
    -------
    OwnGrid

    Raises
    ------
    RunError
        If its stamps cannot be used.
    """
    stamps = repair_stamps(log, settings)
    time_s = stamps.time_s
    grid_s = make_regular_grid(float(time_s[0]), float(time_s[-1]), GRID_HZ)
    values = np.concatenate((log.accel_mps2[stamps.row], log.gyro_radps[stamps.row]), axis=1)
    values = values[finite := find_finite_rows(values)]
    on_grid = interpolate(time_s[finite], values, grid_s, np.inf)
    known = np.flatnonzero(find_finite_rows(on_grid))
    if len(known) == 0:
        return _make_motionless_grid(float(time_s[0]), stamps.period_s)
    inside = slice(known[0], known[-1] + 1)
    on_grid, grid_s = on_grid[inside], grid_s[inside]
    level = average_blocks(norm(on_grid[:, 3:]), int(BLOCK_S * GRID_HZ))
    clipped = np.interp(grid_s, time_s, _find_clipped(log, ranges)[stamps.row].astype(float)) > 0.0
    return OwnGrid(
        float(grid_s[0]), on_grid[:, :3], on_grid[:, 3:], level, clipped, stamps.period_s
    )


def _make_motionless_grid(start_s: float, period_s: float) -> OwnGrid:
    """Grid of a log without a number in it: no motion."""
    zero = np.zeros((1, 3))
    return OwnGrid(start_s, zero, zero, np.zeros(1), np.zeros(1, dtype=bool), period_s)


def _find_clipped(log: SensorLog, ranges: RangeSettings) -> BoolArray:
    of_accel = (log.accel_mps2, log.accel_range_mps2, ranges.least_accel_range_mps2)
    of_gyro = (log.gyro_radps, log.gyro_range_radps, ranges.least_gyro_range_radps)
    return find_clipped_samples(*of_accel, ranges) | find_clipped_samples(*of_gyro, ranges)


def thin_log(pieces: Iterable[SensorLog]) -> SensorLog:
    """A log of few samples, by means of successive ones, for clocks to be compared.

    Parameters
    ----------
    pieces : iterable of SensorLog
        Successive pieces of one log, at least one.

    Returns
    -------
    SensorLog
        At 250 to 500 Hz, or as it was where that is less.
    """
    every = 0
    kept: list[SensorLog] = []
    for piece in pieces:
        if not every:
            steps = np.diff(piece.time_s)
            usual_s = float(np.median(steps[steps > 0.0])) if np.any(steps > 0.0) else 1.0
            every = max(1, int(1.0 / (usual_s * _THINNED_HZ)))
        kept.append(
            replace(
                piece,
                time_s=average_blocks(piece.time_s, every),
                accel_mps2=average_blocks(piece.accel_mps2, every),
                gyro_radps=average_blocks(piece.gyro_radps, every),
            )
        )
    return replace(
        kept[0],
        time_s=np.concatenate([piece.time_s for piece in kept]),
        accel_mps2=np.concatenate([piece.accel_mps2 for piece in kept]),
        gyro_radps=np.concatenate([piece.gyro_radps for piece in kept]),
    )


def find_busy_intervals(grid: OwnGrid, settings: BusySettings) -> list[tuple[float, float]]:
    """Stretches of running or walking with some standing around them, as stamps in s.

    Parameters
    ----------
    grid : OwnGrid
    settings : BusySettings

    Returns
    -------
    list of (float, float)
        In order of time; they do not overlap.
    """
    fast = np.flatnonzero(grid.level_radps > settings.fast_radps)
    if len(fast) == 0:
        return []
    breaks = np.flatnonzero(np.diff(fast) > settings.quiet_s / BLOCK_S)
    first = fast[np.append(0, breaks + 1)] * BLOCK_S
    last = (fast[np.append(breaks, len(fast) - 1)] + 1) * BLOCK_S
    found: list[tuple[float, float]] = []
    for start, end in zip(first, last, strict=True):
        if end - start < settings.shortest_s:
            continue
        begin = max(start - settings.margin_s, found[-1][1] - grid.start_s if found else 0.0)
        until = min(end + settings.margin_s, grid.span_s)
        found.append((grid.start_s + float(begin), grid.start_s + float(until)))
    return found
