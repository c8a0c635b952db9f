"""Sensors that are written into a table faster than they sample: their repeats are no samples."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.marking import mark_samples
from imuproc.core.flags import RaisedFlag, Values
from imuproc.core.recording import SensorLog
from imuproc.dsp.mask_runs import find_mask_runs
from imuproc.dsp.medians import median

BoolArray = NDArray[np.bool_]

_LIVELY_AXES_COUNT: Final = 2.0
"""Of three axes so many change in the mean with each sample; coarse steps at rest change one."""


def is_same_on_all_axes(same: BoolArray) -> BoolArray:
    """Whether all three axes of a sensor are the same as before, shape (m, 3) to (m,)."""
    return np.asarray(same[:, 0] & same[:, 1] & same[:, 2])


def count_usual_rows(repeats: BoolArray) -> float:
    """In how many rows most samples are repeated, the first one included.

    Parameters
    ----------
    repeats : ndarray of bool, shape (n - 1,)
        Whether a row repeats the one before.

    Returns
    -------
    float
        1 in nearly all logs.
    """
    count = int(np.count_nonzero(repeats))
    if 3 * count < len(repeats):  # so few repeats cannot be of half of the samples
        return 1.0
    samples = len(repeats) - count + 1
    first, after = find_mask_runs(repeats)
    if 2 * len(first) < samples:
        return 1.0
    return float(median(np.concatenate((np.ones(samples - len(first)), 1.0 + after - first))))


def drop_regular_repeats(
    log: SensorLog, same: tuple[BoolArray, BoolArray], period_s: float, least_hz: float
) -> tuple[SensorLog, list[RaisedFlag]]:
    """A log without the rows in which both sensors regularly repeat themselves.

    Parameters
    ----------
    log : SensorLog
    same : tuple of ndarray of bool, shape (n - 1, 3)
        Which values of accelerometer and gyroscope are those of the row before.
    period_s : float
        From row to row.
    least_hz : float
        A sensor that samples less often is flagged.

    Returns
    -------
    log : SensorLog
        The same object where at least one of the sensors has new samples in most rows.
    flags : list of RaisedFlag
        ``low_rate``.
    """
    repeats = [is_same_on_all_axes(part) for part in same]
    usual_rows = [_count_rows_if_lively(part, own) for part, own in zip(same, repeats, strict=True)]
    if max(usual_rows) < 2.0 or not _has_own_times(log, repeats):
        return log, []
    flags = []
    for sensor, rows in zip(("accelerometer", "gyroscope"), usual_rows, strict=True):
        if rows >= 2.0 and 1.0 / (rows * period_s) < least_hz:
            marks = mark_samples(log.time_s, np.ones(len(log.time_s), dtype=bool), counted=False)
            values: Values = {"sensor": sensor, "rows": rows, "rate_hz": 1.0 / (rows * period_s)}
            flags.append(RaisedFlag.from_marks("low_rate", marks, log.site, values))
    if min(usual_rows) >= 2.0:
        new = np.concatenate(([True], ~(repeats[0] & repeats[1])))
        return log.take(new), flags
    # One of them alone is left: lines in place of its steps would begin a shock a sample early.
    return log, flags


def _has_own_times(log: SensorLog, repeats: list[BoolArray]) -> bool:
    """Whether repeats have times of their own: exact copies are for the repair of stamps."""
    steps = np.diff(log.time_s)[repeats[0] | repeats[1]]
    return bool(median(steps) > 0.0)


def _count_rows_if_lively(same: BoolArray, repeats: BoolArray) -> float:
    rows = count_usual_rows(repeats)
    if rows < 2.0:
        return 1.0
    changed = np.count_nonzero(~same[~repeats])
    return rows if changed >= _LIVELY_AXES_COUNT * np.count_nonzero(~repeats) else 1.0
