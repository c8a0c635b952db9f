"""Logs as Parquet: columns named as in delimited text, or numbered from 1."""

import datetime
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import parquet

from imuproc.core.errors import LogError
from imuproc.core.recording import SensorLog
from imuproc.files.wording import quote
from imuproc.readers.logs.layout import UNIX_ZERO, Layout
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.logs.signals import (
    BLOCK_ROW_COUNT,
    Meaning,
    Samples,
    read_stated_meaning,
    replace_missing,
    to_sensor_logs,
)
from imuproc.readers.logs.units_stated import check_stated_unit
from imuproc.readers.logs.wanted import (
    Wanted,
    clean_name,
    describe_missing,
    find_positions,
    list_wanted_columns,
)

_SIGNATURE: Final = b"PAR1"


def can_read(path: Path) -> bool:
    """Whether a file begins like Parquet.

    Parameters
    ----------
    path : Path
    """
    with path.open("rb") as file:
        return file.read(len(_SIGNATURE)) == _SIGNATURE


def stream(request: LogRequest, rows: int) -> Iterator[SensorLog]:
    """Read one sensor's log from Parquet, piece after piece.

    Parameters
    ----------
    request : LogRequest
        ``select`` is a prefix of the sensor's column names.
    rows : int
        Samples in each piece but the last, 2 or more.

    Yields
    ------
    SensorLog
        A time column of timestamps counts from 1970-01-01, in UTC where it has a zone.

    Raises
    ------
    LogError
        The file is damaged, a column is missing, is there twice or holds no numbers.
    OSError
        The file cannot be read.
    """
    layout = request.layout
    meaning = read_stated_meaning(layout)
    wanted = list_wanted_columns(layout, request.select)
    with request.path.open("rb") as opened:
        try:
            file = parquet.ParquetFile(opened)
            schema = file.schema_arrow
        except (pa.ArrowException, OSError, ValueError) as error:
            raise LogError(f"the file is cut short, damaged or no Parquet: {error}") from error
        fields = [schema.field(place) for place in _find_places(schema, layout, wanted)]
        for field, column in zip(fields, wanted, strict=True):
            _check_field(field, column)
        if layout.time is not None:
            meaning = _apply_timestamp_type(meaning, fields[0].type)
        yield from to_sensor_logs(request, meaning, _read_samples(file, fields, layout), rows)


def _find_places(schema: pa.Schema, layout: Layout, wanted: tuple[Wanted, ...]) -> tuple[int, ...]:
    names = [clean_name(name) for name in schema.names]
    if layout.has_numbered_columns:
        places = tuple(int(column.names[0]) - 1 for column in wanted)
        if max(places) >= len(names):
            raise LogError(
                f"found {len(names)} columns; allowed: at least {max(places) + 1}, which the "
                "layout's column numbers need"
            )
    else:
        found = find_positions(wanted, names)
        if found is None:
            raise LogError(describe_missing(wanted, names))
        places = found
    for place in places:
        if schema.names.count(schema.names[place]) > 1:
            raise LogError(
                f"the column {quote(schema.names[place])} is there more than once; allowed: once"
            )
    return places


def _check_field(field: pa.Field, column: Wanted) -> None:
    where = f"column {quote(field.name)}"
    kind = field.type
    numeric = pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)
    if not numeric and not (column.signal == "time" and pa.types.is_timestamp(kind)):
        raise LogError(f"{where}: found {kind}; allowed: numbers")
    metadata = field.metadata or {}
    for name in (b"units", b"unit"):
        if name in metadata:
            check_stated_unit(metadata[name].decode("utf-8", errors="replace"), column.unit, where)


def _apply_timestamp_type(meaning: Meaning, kind: pa.DataType) -> Meaning:
    """Let the type of a time column of timestamps say its unit and zero."""
    if not pa.types.is_timestamp(kind):
        return meaning
    zero_at = UNIX_ZERO if kind.tz else datetime.datetime(1970, 1, 1)
    if meaning.zero_at not in (None, zero_at):
        raise LogError(
            "the time column holds timestamps, which count from 1970, and the layout states "
            "another zero; allowed: no zero, or the same"
        )
    return replace(meaning, time_unit=kind.unit, zero_at=zero_at)


def _read_samples(
    file: parquet.ParquetFile, fields: list[pa.Field], layout: Layout
) -> Iterator[Samples]:
    batches = file.iter_batches(
        batch_size=BLOCK_ROW_COUNT, columns=[field.name for field in fields]
    )
    while True:
        try:
            batch = next(batches, None)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise LogError(f"the file is damaged: {error}") from error
        if batch is None:
            return
        columns = [batch.column(batch.schema.get_field_index(field.name)) for field in fields]
        accel, gyro = (
            replace_missing(np.column_stack([_to_floats(c) for c in three]), layout.missing)
            for three in (columns[-6:-3], columns[-3:])
        )
        yield Samples(None if layout.time is None else _to_stamps(columns[0]), accel, gyro)


def _to_floats(column: pa.Array) -> NDArray[np.float64]:
    values = column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False)
    return np.asarray(values, dtype=np.float64)


def _to_stamps(column: pa.Array) -> NDArray[Any]:
    if pa.types.is_timestamp(column.type):
        column = column.cast(pa.int64())
    whole = pa.types.is_integer(column.type) and column.type != pa.uint64()
    if whole and column.null_count == 0:
        return np.asarray(column.cast(pa.int64()).to_numpy(zero_copy_only=False))
    return _to_floats(column)
