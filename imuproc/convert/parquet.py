"""Sessions as Parquet: a file for each log, SI units in the names of the columns."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
from pyarrow import parquet

from imuproc.convert.form import Facts, Target, Watched
from imuproc.convert.tables import AXES, list_log_targets
from imuproc.core.recording import SensorLog
from imuproc.files.whole import replace_file
from imuproc.readers.session import Session

_ACCEL: Final = [f"accel_{axis}_mps2" for axis in AXES]
_GYRO: Final = [f"gyro_{axis}_radps" for axis in AXES]
_UNITS: Final = {
    "time_s": "s",
    **dict.fromkeys(_ACCEL, "m/s^2"),
    **dict.fromkeys(_GYRO, "rad/s"),
}
_SCHEMA: Final = pa.schema(
    [pa.field(name, pa.float64(), metadata={"unit": unit}) for name, unit in _UNITS.items()]
)


def list_targets(session: Session, runs: Iterable[str]) -> list[Target]:
    """A file for each log."""
    return list_log_targets(session, runs, ".parquet")


def list_files_beside(_target: Target) -> tuple[str, ...]:
    """List further files: none, as ranges and the stamps' zero stand in the session file."""
    return ()


def write_log(folder: Path, target: Target, pieces: Iterable[SensorLog]) -> Facts:
    """Write one log, piece after piece.

    Raises
    ------
    LogError
        The log cannot be read; nothing is left of it.
    OSError
        The file cannot be written.
    """
    watched = Watched(pieces)
    path = folder / target.file
    path.parent.mkdir(parents=True, exist_ok=True)
    with replace_file(path) as temporary, parquet.ParquetWriter(temporary, _SCHEMA) as file:
        for piece in watched:
            columns = [piece.time_s, *piece.accel_mps2.T, *piece.gyro_radps.T]
            arrays = [pa.array(np.ascontiguousarray(column)) for column in columns]
            file.write_table(pa.table(arrays, schema=_SCHEMA))
    return watched.get_facts()


def build_layouts(written: list[tuple[Target, Facts]]) -> tuple[dict[str, Any], list[str]]:
    """A layout for each set of ranges and zero."""
    found: list[dict[str, Any]] = []
    names = []
    for _, facts in written:
        layout = _build_layout(facts)
        if layout not in found:
            found.append(layout)
        names.append(_name_layout(found.index(layout)))
    return {_name_layout(place): layout for place, layout in enumerate(found)}, names


def _name_layout(place: int) -> str:
    return f"parquet-{place + 1}" if place else "parquet"


def _build_layout(facts: Facts) -> dict[str, Any]:
    time: dict[str, Any] = {"column": "time_s", "unit": "s"}
    accel: dict[str, Any] = {"columns": _ACCEL, "unit": "m/s^2"}
    gyro: dict[str, Any] = {"columns": _GYRO, "unit": "rad/s"}
    for table, key, value in (
        (time, "zero", facts.zero_at),
        (accel, "range", facts.accel_range_mps2),
        (gyro, "range", facts.gyro_range_radps),
    ):
        if value is not None:
            table[key] = value
    return {"format": "parquet", "time": time, "accel": accel, "gyro": gyro}


def finish_folder(
    _folder: Path, _session: Session, _written: list[tuple[Target, Facts]]
) -> list[str]:
    """Write nothing: the folder needs no more than its logs."""
    return []
