"""Logs in BIDS Motion: ``_motion.tsv`` without header, ``_channels.tsv`` saying what stands where.

Brain Imaging Data Structure, specification 1.10, part Motion. Beyond it, and allowed by it: a
column ``range`` of the channels (full scale in the channel's units), a channel ``time_s`` of type
MISC with the logger's own stamps, and ``StampsZeroAt`` in the JSON, the instant at which these
count 0. `imuproc convert` writes them, as LATENCY counts from the onset and has microseconds only.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, cast, get_args

import numpy as np

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.core.units import AccelUnit, GyroUnit, TimeUnit
from imuproc.files.wording import quote, quote_all
from imuproc.readers.logs.bids_files import (
    MISSING,
    Channel,
    is_motion_file,
    parse_instant,
    read_channels,
    read_metadata,
    read_onset,
)
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.logs.signals import Meaning, Samples, to_sensor_logs
from imuproc.readers.logs.text.dialect import TableShape
from imuproc.readers.logs.text.numbers import parse_table
from imuproc.readers.logs.text.text_file import looks_like_text, read_text_blocks
from imuproc.readers.logs.units_stated import parse_unit

STAMPS: Final = "time_s"
ZERO_AT: Final = "StampsZeroAt"

_TYPES: Final = {"ACCEL": AccelUnit, "GYRO": GyroUnit}
_RULES: Final = Layout(format="bids-motion", decimal=".")


@dataclass(frozen=True)
class _Sensor:
    """Channels of one tracked point."""

    accel: tuple[Channel, ...]
    gyro: tuple[Channel, ...]
    time: Channel | None


def can_read(path: Path) -> bool:
    """Whether a file is named and begins like a BIDS motion recording.

    Parameters
    ----------
    path : Path
    """
    return is_motion_file(path) and looks_like_text(path)


def stream(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log from a BIDS motion recording, piece after piece.

    Parameters
    ----------
    request : LogRequest
        ``select`` is the tracked point; may be left out where there is one only.
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog
        Stamps from the channel ``time_s``, else from a LATENCY channel, else from the sampling
        frequency. Channels whose status is ``bad`` are NaN.

    Raises
    ------
    LogError
        A file beside it is missing or wrong, the sensor is not there, or a line is no row of
        numbers.
    OSError
        The file cannot be read.
    """
    if not is_motion_file(request.path):
        raise LogError("found another name; allowed: a file whose name ends in _motion.tsv")
    channels = read_channels(request.path)
    sensor = _select_sensor(channels, request.select)
    meaning = _read_meaning(request.path, sensor)
    time = () if sensor.time is None else (sensor.time,)
    wanted = (*time, *sensor.accel, *sensor.gyro)
    shape = TableShape(
        "\t", tuple(c.name for c in channels), tuple(c.place for c in wanted), first_line=1
    )
    yield from to_sensor_logs(request, meaning, _read_samples(request.path, shape, wanted), rows)


def _read_samples(path: Path, shape: TableShape, wanted: tuple[Channel, ...]) -> Iterator[Samples]:
    bad = [place for place, channel in enumerate(wanted) if channel["status"] == "bad"]
    for block in parse_table(read_text_blocks(path, None), shape, _RULES):
        values = block.columns
        for place in bad:
            values[place] = np.full_like(values[place], np.nan)
        stamps = values[0] if len(wanted) == 7 else None
        accel, gyro = np.column_stack(values[-6:-3]), np.column_stack(values[-3:])
        yield Samples(stamps, accel, gyro, block.cut_short)


def _select_sensor(channels: tuple[Channel, ...], select: str | None) -> _Sensor:
    points = list(
        dict.fromkeys(channel["tracked_point"] for channel in channels if channel["type"] in _TYPES)
    )
    if select not in points and (select is not None or len(points) != 1):
        wanted = f"no tracked point {quote(select)}" if select else f"{len(points)} tracked points"
        raise LogError(f"found {wanted}; allowed: a select that names one of {quote_all(points)}")
    point = points[0] if select is None else select
    own = [channel for channel in channels if channel["tracked_point"] == point]
    return _Sensor(
        _find_axis_channels(own, "ACCEL", point),
        _find_axis_channels(own, "GYRO", point),
        _find_time_channel(channels, own, point),
    )


def _find_axis_channels(own: list[Channel], kind: str, point: str) -> tuple[Channel, ...]:
    found = [
        [c for c in own if c["type"] == kind and c["component"].lower() == axis] for axis in "xyz"
    ]
    if any(len(channels) != 1 for channels in found):
        counts = ", ".join(
            f"{len(c)} with component {a}" for a, c in zip("xyz", found, strict=True)
        )
        raise LogError(
            f"tracked point {quote(point)}, type {kind}: found channels: {counts}; allowed: one "
            "of each"
        )
    return tuple(channels[0] for channels in found)


def _find_time_channel(
    channels: tuple[Channel, ...], own: list[Channel], point: str
) -> Channel | None:
    names = (STAMPS, f"{point}_{STAMPS}")
    stamps = [c for c in channels if c["type"] == "MISC" and c.name in names]
    for everywhere in (stamps, [c for c in channels if c["type"] == "LATENCY"]):
        found = [channel for channel in everywhere if channel in own] or [
            channel for channel in everywhere if channel["tracked_point"] == MISSING
        ]
        if len(found) > 1:
            raise LogError(
                f"tracked point {quote(point)}: found several channels of stamps: "
                f"{quote_all(channel.name for channel in found)}; allowed: one"
            )
        if found:
            return found[0]
    return None


def _read_meaning(path: Path, sensor: _Sensor) -> Meaning:
    metadata = read_metadata(path)
    own_stamps = sensor.time is not None and sensor.time["type"] == "MISC"
    if own_stamps:
        stated = metadata.get(ZERO_AT)
        zero_at = None if stated is None else parse_instant(str(stated), f"_motion.json, {ZERO_AT}")
    else:
        zero_at = read_onset(path)
    time = sensor.time
    return Meaning(
        accel_unit=cast(AccelUnit, _read_unit(sensor.accel, get_args(AccelUnit))),
        gyro_unit=cast(GyroUnit, _read_unit(sensor.gyro, get_args(GyroUnit))),
        time_unit="s" if time is None else cast(TimeUnit, _read_unit((time,), get_args(TimeUnit))),
        time_name=None if time is None else time.name,
        rate_hz=None if time is not None else _read_rate_hz(metadata, sensor),
        accel_range=_read_full_scale(sensor.accel),
        gyro_range=_read_full_scale(sensor.gyro),
        zero_at=zero_at,
    )


def _read_unit(channels: tuple[Channel, ...], allowed: tuple[str, ...]) -> str:
    units = {parse_unit(c["units"], allowed, f"channel {quote(c.name)}, units") for c in channels}
    if len(units) > 1:
        raise LogError(f"channels {quote_all(c.name for c in channels)}: found units that differ")
    return units.pop()


def _read_full_scale(channels: tuple[Channel, ...]) -> float | None:
    stated = {channel["range"] for channel in channels} - {MISSING, ""}
    if not stated:
        return None
    names = quote_all(channel.name for channel in channels)
    try:
        values = {float(text) for text in stated}
    except ValueError:
        values = set()
    if len(values) != 1 or not all(0 < value < float("inf") for value in values):
        raise LogError(
            f"channels {names}, range: found {quote_all(sorted(stated))}; allowed: a number"
        )
    return values.pop()


def _read_rate_hz(metadata: dict[str, object], sensor: _Sensor) -> float:
    stated = metadata.get("SamplingFrequency")
    if stated in (None, MISSING):
        cells = {c["sampling_frequency"] for c in (*sensor.accel, *sensor.gyro)}
        stated = cells.pop() if len(cells) == 1 else None
    try:
        rate_hz = float(str(stated))
    except ValueError:
        rate_hz = float("nan")
    if not 0 < rate_hz < float("inf"):
        raise LogError(
            f"SamplingFrequency: found {stated!r} and no channel of stamps; allowed: a rate above 0"
        )
    return rate_hz
