"""Roughly how far two logs' clocks are apart, from when their wearer moves and how fast."""

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clocks.grid import BLOCK_S, GRID_HZ, OwnGrid
from imuproc.dsp.correlation import cross_correlate
from imuproc.dsp.filters import low_pass
from imuproc.dsp.rotations import norm

FloatArray = NDArray[np.float64]

_THIN_HZ = 50.0
"""Rate at which smoothed motion is compared: far above its cut-off."""
_LEAST_SAMPLES = 20
"""Fewer are too short to compare. Chosen: 0.4 s at `_THIN_HZ`."""


def find_activity_offset(a: OwnGrid, b: OwnGrid) -> tuple[float, float]:
    """Offset of two clocks by when their sensors move, good to some tenths of a second.

    Parameters
    ----------
    a, b : OwnGrid

    Returns
    -------
    offset_s, alike : float
        Stamp of ``b`` minus stamp of ``a``, and the correlation of both activities there.
    """
    levels = [np.log1p(grid.level_radps) for grid in (a, b)]
    x, y = (level - level.mean() for level in levels)
    size = float(np.linalg.norm(x) * np.linalg.norm(y))
    if not size > 0.0:
        return 0.0, 0.0
    product = cross_correlate(y, x)
    top = int(np.argmax(product))
    return b.start_s - a.start_s + (top - len(x) + 1) * BLOCK_S, float(product[top]) / size


def find_motion_offset(
    a: OwnGrid,
    b: OwnGrid,
    interval_s: tuple[float, float],
    near: tuple[float, float],
    cutoff_hz: float,
) -> tuple[float, float]:
    """Offset of two clocks by the size of the angular velocity over one interval.

    Parameters
    ----------
    a, b : OwnGrid
    interval_s : tuple of float
        Stamps of ``a`` in s; standing before and after makes the stride that fits certain.
    near : tuple of float
        Stamp of ``b`` minus stamp of ``a`` in s, roughly, and how far that may be off.
    cutoff_hz : float
        Low-pass of the angular velocity.

    Returns
    -------
    offset_s, alike : float
        And the correlation there, 0 where the logs do not reach so far.
    """
    offset_s, reach_s = near
    every = int(GRID_HZ / _THIN_HZ)
    here_rows = a.find_rows(*interval_s)
    wide = (interval_s[0] + offset_s - reach_s, interval_s[1] + offset_s + reach_s)
    there_rows = b.find_rows(*wide)
    both = ((a, here_rows), (b, there_rows))
    here, there = (_compute_turning_speed(grid, rows, cutoff_hz)[::every] for grid, rows in both)
    count = len(here)
    if count < _LEAST_SAMPLES or len(there) <= count:
        return offset_s, 0.0
    ones = np.ones(count)
    x = here - here.mean()
    inside = slice(count - 1, len(there))
    mean = cross_correlate(there, ones)[inside] / count
    power = cross_correlate(there**2, ones)[inside] - count * mean**2
    spread = np.sqrt(np.maximum(power, 1e-9 * count)) * float(np.linalg.norm(x))
    alike = cross_correlate(there, x)[inside] / np.maximum(spread, 1e-9)
    top = int(np.argmax(alike))
    starts = (
        a.start_s + here_rows.start / GRID_HZ,
        b.start_s + (there_rows.start + top * every) / GRID_HZ,
    )
    return starts[1] - starts[0], float(alike[top])


def _compute_turning_speed(grid: OwnGrid, rows: slice, cutoff_hz: float) -> FloatArray:
    gyro = grid.gyro_radps[rows]
    long = len(gyro) > _LEAST_SAMPLES
    return norm(low_pass(gyro, cutoff_hz, GRID_HZ) if long else gyro)
