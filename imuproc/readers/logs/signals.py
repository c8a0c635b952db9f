"""From columns of numbers to sensor logs in SI units; shared by all readers."""

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.core.units import (
    ACCEL_TO_MPS2,
    GYRO_TO_RADPS,
    PER_SECOND,
    AccelUnit,
    GyroUnit,
    TimeUnit,
)
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.request import LogRequest

FloatArray = NDArray[np.float64]

MIN_SAMPLE_COUNT: Final = 2
"""A log with fewer has no rate."""
BLOCK_ROW_COUNT: Final = 1 << 16
"""Rows that are read at a time; chosen: a few MB of memory."""
_EXACT_COUNT: Final = 1 << 53
"""Whole numbers up to here are exact in float64 (IEEE 754)."""
_LARGEST_SIGNAL_SI: Final = 1e15
"""In m/s^2 or rad/s; beyond what any converter counts to, whatever unit is taken for its own."""
_LARGEST_TIME_S: Final = 1e12
"""Beyond the years of any calendar in use."""


@dataclass(frozen=True)
class Meaning:
    """What a log's numbers stand for, as its layout or the log itself states it.

    Parameters
    ----------
    accel_unit, gyro_unit : str
    time_unit : str
    time_name : str or None
        Name of the time column; None where there is none, and ``rate_hz`` counts.
    rate_hz : float or None
        Sampling rate in Hz.
    accel_range, gyro_range : float or None
        Full scale in the signal's own unit.
    zero_at : datetime or None
        Instant at which the stamps count 0.
    """

    accel_unit: AccelUnit
    gyro_unit: GyroUnit
    time_unit: TimeUnit = "s"
    time_name: str | None = None
    rate_hz: float | None = None
    accel_range: float | None = None
    gyro_range: float | None = None
    zero_at: datetime.datetime | None = None


@dataclass(frozen=True, eq=False)
class Samples:
    """Consecutive samples as a file holds them, in the file's units.

    Parameters
    ----------
    stamps : ndarray, shape (n,), or None
        Floats, or whole numbers of 64 bits, which are made seconds before anything is rounded;
        None where the log has no stamps.
    accel, gyro : ndarray, shape (n, 3)
        Missing values NaN or infinite.
    cut_short : str
        Of the last ones: what tells that the file is cut short, and where; empty where nothing
        does.
    """

    stamps: NDArray[Any] | None
    accel: FloatArray
    gyro: FloatArray
    cut_short: str = ""


def read_stated_meaning(layout: Layout) -> Meaning:
    """What a layout says of the numbers.

    Raises
    ------
    LogError
        The layout names no columns.
    """
    if layout.accel is None or layout.gyro is None:
        raise LogError(
            "the layout names no columns; this format needs accel and gyro, and time or rate_hz"
        )
    return Meaning(
        accel_unit=layout.accel.unit,
        gyro_unit=layout.gyro.unit,
        time_unit="s" if layout.time is None else layout.time.unit,
        time_name=None if layout.time is None else str(layout.time.column),
        rate_hz=layout.rate_hz,
        accel_range=layout.accel.range,
        gyro_range=layout.gyro.range,
        zero_at=None if layout.time is None else layout.time.zero_at,
    )


def to_sensor_logs(
    request: LogRequest, meaning: Meaning, samples: Iterable[Samples], rows: int
) -> Iterator[SensorLog]:
    """One sensor's log in SI units, piece after piece.

    Parameters
    ----------
    request : LogRequest
    meaning : Meaning
    samples : iterable of Samples
        In file order, of any length.
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog
        Missing values NaN; stamps as they are, even where they are NaN or run backwards.

    Raises
    ------
    LogError
        Fewer than two samples, or no stamp is a number.
    """
    n, has_stamp = 0, meaning.time_name is None
    in_si = (_to_si(block, meaning) for block in samples)
    for piece in _regroup_samples(in_si, rows):
        log = _make_log(request, meaning, piece, n)
        n += len(log.time_s)
        if n < MIN_SAMPLE_COUNT:
            break
        has_stamp = has_stamp or not bool(np.isnan(log.time_s).all())
        yield log
    if n < MIN_SAMPLE_COUNT:
        raise LogError(f"found {n} sample{'s' * (n != 1)}; allowed: {MIN_SAMPLE_COUNT} or more")
    if not has_stamp:
        raise LogError(f"time column {meaning.time_name!r}: found no stamp that is a number")


def _regroup_samples(samples: Iterable[Samples], rows: int) -> Iterator[Samples]:
    """Cut and join blocks so that each has ``rows`` samples, but for the last one of the file."""
    waiting: list[Samples] = []
    have, cut_short = 0, ""
    for block in samples:
        start, cut_short = 0, block.cut_short
        while len(block.accel) - start > rows - have:
            end = start + rows - have
            yield _concatenate_samples([*waiting, _slice_samples(block, start, end)])
            waiting, have, start = [], 0, end
        if start < len(block.accel):
            waiting.append(_slice_samples(block, start, len(block.accel)))
            have += len(block.accel) - start
    if waiting:
        yield replace(_concatenate_samples(waiting), cut_short=cut_short)


def _slice_samples(block: Samples, start: int, end: int) -> Samples:
    stamps = None if block.stamps is None else block.stamps[start:end]
    return Samples(stamps, block.accel[start:end], block.gyro[start:end])


def _concatenate_samples(parts: list[Samples]) -> Samples:
    parts = [part for part in parts if len(part.accel)]
    if len(parts) == 1:
        return parts[0]
    stamps = [part.stamps for part in parts if part.stamps is not None]
    return Samples(
        np.concatenate(stamps) if stamps else None,
        np.concatenate([part.accel for part in parts]),
        np.concatenate([part.gyro for part in parts]),
    )


def _to_si(samples: Samples, meaning: Meaning) -> Samples:
    stamps = samples.stamps
    return Samples(
        None if stamps is None else _to_seconds(stamps, meaning.time_unit),
        _drop_impossible(samples.accel * ACCEL_TO_MPS2[meaning.accel_unit], _LARGEST_SIGNAL_SI),
        _drop_impossible(samples.gyro * GYRO_TO_RADPS[meaning.gyro_unit], _LARGEST_SIGNAL_SI),
        samples.cut_short,
    )


def _to_seconds(stamps: NDArray[Any], unit: TimeUnit) -> FloatArray:
    per_second = PER_SECOND[unit]
    if stamps.dtype.kind == "f":
        return _drop_impossible(stamps / per_second, _LARGEST_TIME_S)
    whole = stamps.astype(np.int64)
    parts = whole // int(per_second) + whole % int(per_second) / per_second
    seconds = np.where(np.abs(whole) < _EXACT_COUNT, whole / per_second, parts)
    return _drop_impossible(seconds, _LARGEST_TIME_S)


def _make_log(request: LogRequest, meaning: Meaning, piece: Samples, before: int) -> SensorLog:
    time_s = piece.stamps
    if time_s is None:
        time_s = np.arange(before, before + len(piece.accel)) / _get_rate_hz(meaning)
    accel_range, gyro_range = meaning.accel_range, meaning.gyro_range
    to_mps2, to_radps = ACCEL_TO_MPS2[meaning.accel_unit], GYRO_TO_RADPS[meaning.gyro_unit]
    return SensorLog(
        site=request.site,
        time_s=time_s.astype(np.float64, copy=False),
        accel_mps2=piece.accel,
        gyro_radps=piece.gyro,
        source=request.source,
        accel_range_mps2=None if accel_range is None else accel_range * to_mps2,
        gyro_range_radps=None if gyro_range is None else gyro_range * to_radps,
        zero_at=meaning.zero_at,
        cut_short=_describe_cut(piece.cut_short, time_s),
    )


def _describe_cut(cut_short: str, time_s: FloatArray) -> str:
    known = time_s[np.isfinite(time_s)]
    if not cut_short or not len(known):
        return cut_short
    return f"{cut_short}; its last sample is at {known[-1]:.10g} s"


def _get_rate_hz(meaning: Meaning) -> float:
    if meaning.rate_hz is None:
        raise LogError("the layout states neither a time column nor rate_hz")
    return meaning.rate_hz


def _drop_impossible(values: FloatArray, largest: float) -> FloatArray:
    """Set values beyond ``largest`` to NaN: only damage makes such numbers."""
    return np.where(np.abs(values) <= largest, values, np.nan)


def replace_missing(values: FloatArray, code: str | float | None) -> FloatArray:
    """Set values equal to the layout's missing code to NaN; exact, as the code is a mark."""
    try:
        number = float("nan" if code is None else code)
    except ValueError:  # a word: it was taken for missing while reading
        return values
    return np.where(values == number, np.nan, values)
