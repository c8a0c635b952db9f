"""Logs in HDF5: our own open layout, and datasets of others that a layout names by path.

Own layout, version 1, names as in BIDS: the file's attributes ``format`` ("imuproc sensor logs")
and ``version``; a group for each sensor with attributes ``tracked_point``, ``sampling_frequency``
in Hz (needed only without stamps) and ``start_time`` (ISO 8601, when the stamps count 0; left out
where that is not known); in it the datasets ``time_s`` (n,), ``accel`` and ``gyro`` (n, 3) with
attributes ``units``, ``component`` (x, y, z) and ``range`` (full scale, in these units).
"""

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, cast, get_args

import h5py
import numpy as np

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.core.units import AccelUnit, GyroUnit, TimeUnit
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.logs.hdf5.items import (
    DAMAGE,
    Dataset,
    describe_datasets,
    find_dataset,
    list_groups,
    read_attribute,
    read_number,
)
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.logs.signals import (
    BLOCK_ROW_COUNT,
    Meaning,
    Samples,
    read_stated_meaning,
    replace_missing,
    to_sensor_logs,
)
from imuproc.readers.logs.units_stated import parse_unit

FORMAT: Final = "imuproc sensor logs"
VERSION: Final = 1

_ARCHIVE: Final = b"imuproc archive"


@dataclass(frozen=True, eq=False)
class _Source:
    """Datasets of one sensor, and what their numbers mean."""

    meaning: Meaning
    time: Dataset | None
    accel: tuple[Dataset, ...]
    gyro: tuple[Dataset, ...]


def can_read(path: Path) -> bool:
    """Whether a file is HDF5, also behind a block of its own text.

    Parameters
    ----------
    path : Path
    """
    return bool(h5py.is_hdf5(path))


def stream(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log from HDF5, piece after piece.

    Parameters
    ----------
    request : LogRequest
        ``select`` is the sensor's group or its tracked point; where the layout names datasets, the
        group that their paths begin in.
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog

    Raises
    ------
    LogError
        The file is damaged, is an archive of results, or does not hold what is asked for.
    OSError
        The file cannot be read.
    """
    with _open_hdf5(request.path) as file:
        source = (
            _find_own_datasets(file, request)
            if request.layout.accel is None
            else _find_named_datasets(file, request)
        )
        yield from to_sensor_logs(
            request, source.meaning, _read_samples(source, request.layout), rows
        )


@contextmanager
def _open_hdf5(path: Path) -> Iterator[h5py.File]:
    with path.open("rb") as file:
        if file.read(len(_ARCHIVE)) == _ARCHIVE:
            raise LogError(
                "found an archive of results that `imuproc process` wrote; allowed: a sensor log"
            )
    try:
        with h5py.File(path, "r") as opened:
            yield opened
    except DAMAGE as error:
        raise LogError(f"the file is cut short, damaged or no HDF5: {error}") from error


def _read_samples(source: _Source, layout: Layout) -> Iterator[Samples]:
    n = source.accel[0].length
    for start in range(0, n, BLOCK_ROW_COUNT):
        end = min(start + BLOCK_ROW_COUNT, n)
        accel, gyro = (
            replace_missing(
                np.column_stack([one.read_floats(start, end) for one in three]), layout.missing
            )
            for three in (source.accel, source.gyro)
        )
        yield Samples(
            None if source.time is None else source.time.read_stamps(start, end), accel, gyro
        )


def _find_named_datasets(file: h5py.File, request: LogRequest) -> _Source:
    """Datasets that the layout names by path."""
    layout = request.layout
    meaning = read_stated_meaning(layout)
    inside = (request.select or "").strip("/")
    if inside and inside not in file:
        groups = list_groups(file)
        raise LogError(
            f"found no group {quote(inside)}, which select names{suggest_word(inside, groups)}; "
            f"groups: {quote_all(groups) or 'none'}"
        )

    def find_checked(path: Any, width: int, unit: str) -> Dataset:
        dataset = find_dataset(file, f"{inside}/{path}", width)
        dataset.check_unit(unit)
        return dataset

    three = []
    for group in (layout.accel, layout.gyro):
        columns = () if group is None else group.columns
        width = 3 if len(columns) == 1 else 1
        three.append(
            tuple(find_checked(c, width, "" if group is None else group.unit) for c in columns)
        )
    time = None
    if layout.time is not None:
        shared = f"{inside}/{layout.time.column}" not in file  # by all sensors
        time = find_dataset(file, f"{'' if shared else inside}/{layout.time.column}", 1)
        time.check_unit(layout.time.unit)
    return _check_lengths(_Source(meaning, time, three[0], three[1]))


def _check_lengths(source: _Source) -> _Source:
    datasets = [*source.accel, *source.gyro, *([] if source.time is None else [source.time])]
    first = datasets[0]
    for other in datasets[1:]:
        if other.length != first.length:
            raise LogError(
                f"dataset {quote(other.name)}: found {other.length} samples; allowed: "
                f"{first.length}, as in {quote(first.name)}"
            )
    return source


def _find_own_datasets(file: h5py.File, request: LogRequest) -> _Source:
    """Datasets of a sensor in our own layout."""
    if read_attribute(file, "format") != FORMAT:
        raise LogError(
            "the file does not say what its datasets are; allowed: a layout that names time, accel "
            f"and gyro by path; found datasets: {describe_datasets(file)}"
        )
    version = read_attribute(file, "version")
    if version != VERSION:
        raise LogError(
            f"attribute version: found {version!r}; this imuproc reads version {VERSION}"
        )
    group = _select_group(file, request.select)
    accel, gyro = (find_dataset(group, name, 3) for name in ("accel", "gyro"))
    time = find_dataset(group, "time_s", 1) if "time_s" in group else None
    rate_hz = read_number(group, "sampling_frequency")
    if time is None and (rate_hz is None or not 0 < rate_hz < float("inf")):
        raise LogError(
            f"group {quote(group.name)}: found neither time_s nor a sampling_frequency above 0"
        )
    meaning = Meaning(
        accel_unit=cast(AccelUnit, parse_unit(accel.unit, get_args(AccelUnit), accel.name)),
        gyro_unit=cast(GyroUnit, parse_unit(gyro.unit, get_args(GyroUnit), gyro.name)),
        time_unit="s"
        if time is None
        else cast(TimeUnit, parse_unit(time.unit, get_args(TimeUnit), time.name)),
        time_name=None if time is None else "time_s",
        rate_hz=rate_hz,
        accel_range=accel.full_scale,
        gyro_range=gyro.full_scale,
        zero_at=_read_start_time(group),
    )
    return _check_lengths(_Source(meaning, time, (accel,), (gyro,)))


def _select_group(file: h5py.File, select: str | None) -> h5py.Group:
    groups = {name: item for name, item in file.items() if isinstance(item, h5py.Group)}
    points = {name: read_attribute(group, "tracked_point") for name, group in groups.items()}
    fitting = [name for name in groups if select in (None, name, points[name])]
    if len(fitting) != 1:
        wanted = "no sensor" if select is None else f"no sensor {quote(select)}"
        if fitting:
            wanted = f"{len(fitting)} sensors"
        raise LogError(f"found {wanted}; allowed: a select that names one of {quote_all(groups)}")
    return groups[fitting[0]]


def _read_start_time(group: h5py.Group) -> datetime.datetime | None:
    text = read_attribute(group, "start_time")
    if text is None:
        return None
    try:
        return datetime.datetime.fromisoformat(str(text))
    except ValueError:
        raise LogError(
            f"group {quote(group.name)}, attribute start_time: found {quote(str(text))}; "
            "allowed: a date and time by ISO 8601, such as 2031-04-12T09:30:00+02:00"
        ) from None
