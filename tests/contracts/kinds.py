"""Every kind of log as small as it may be; a new reader adds its own to ``KINDS``."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pyarrow as pa
from pyarrow import parquet

from imuproc.readers.logs.layout import Format, Layout
from imuproc.readers.logs.request import LogRequest
from tests.readers.xdf_files import Stream, xdf

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")
COLUMNS: dict[str, Any] = {
    "time": {"column": "t", "unit": "ms"},
    "accel": {"columns": ["ax", "ay", "az"], "unit": "mg", "range": 16000},
    "gyro": {"columns": ["gx", "gy", "gz"], "unit": "deg/s", "range": 2000},
}


@dataclass(frozen=True)
class Kind:
    """One way to write a log.

    Parameters
    ----------
    format : str
    write : callable
        Takes a path, a table of ms, mg and deg/s of shape (n, 7), and the unit that the file
        states for the accelerometer.
    layout : dict
    file : str
        A name that fits.
    """

    format: Format
    write: Callable[[Path, np.ndarray, str], None]
    layout: dict[str, Any] = field(default_factory=lambda: COLUMNS)
    file: str = "sample.log"

    @property
    def names_columns(self) -> bool:
        """Whether the layout says what stands where."""
        return "accel" in self.layout

    def request(self, path: Path, **changes: Any) -> LogRequest:
        """This log to read."""
        how = {key: value for key, value in (self.layout | changes).items() if value is not None}
        return LogRequest("left_shank", path, "logs/a.log", Layout.model_validate(how))


def write_delimited(path: Path, table: np.ndarray, accel_unit: str = "mg") -> None:
    units = ",".join(["ms", *[accel_unit] * 3, *["deg/s"] * 3])
    rows = [",".join("" if np.isnan(c) else repr(float(c)) for c in row) for row in table]
    path.write_text("\n".join([",".join(NAMES), units, *rows]) + "\n")


def write_parquet(path: Path, table: np.ndarray, accel_unit: str = "mg") -> None:
    units = ["ms", *[accel_unit] * 3, *["deg/s"] * 3]
    fields = [
        pa.field(name, pa.float64(), metadata={"unit": unit})
        for name, unit in zip(NAMES, units, strict=True)
    ]
    parquet.write_table(pa.table(list(table.T), schema=pa.schema(fields)), path)


def write_foreign_hdf5(path: Path, table: np.ndarray, accel_unit: str = "mg") -> None:
    with h5py.File(path, "w") as file:
        for name, values in zip(NAMES, table.T, strict=True):
            file[name] = values
            if name[0] == "a":
                file[name].attrs["units"] = accel_unit


def write_own_hdf5(path: Path, table: np.ndarray, accel_unit: str = "mg") -> None:
    with h5py.File(path, "w") as file:
        file.attrs["format"], file.attrs["version"] = "imuproc sensor logs", 1
        group = file.create_group("left_shank")
        group.attrs["tracked_point"] = "left_shank"
        for name, values, units, full_scale in (
            ("time_s", table[:, 0] / 1000, "s", None),
            ("accel", table[:, 1:4], accel_unit, 16000.0),
            ("gyro", table[:, 4:], "deg/s", 2000.0),
        ):
            group[name] = values
            group[name].attrs["units"] = units
            if full_scale:
                group[name].attrs["range"] = full_scale


def bids_cell(value: float) -> str:
    return "n/a" if np.isnan(value) else repr(float(value))


def write_bids(path: Path, table: np.ndarray, accel_unit: str = "mg") -> None:
    heads = "name\tcomponent\ttype\ttracked_point\tunits\trange"
    rows = ["latency\tn/a\tLATENCY\tn/a\ts\tn/a"]
    for kind, unit, full_scale in (("ACCEL", accel_unit, 16000), ("GYRO", "deg/s", 2000)):
        rows += [f"{kind}_{a}\t{a}\t{kind}\tleft_shank\t{unit}\t{full_scale}" for a in "xyz"]
    stem = path.name.removesuffix("_motion.tsv")
    path.with_name(f"{stem}_channels.tsv").write_text("\n".join([heads, *rows]) + "\n")
    path.with_name(f"{stem}_motion.json").write_text('{"SamplingFrequency": 500}')
    table = np.column_stack([table[:, 0] / 1000, table[:, 1:]])
    path.write_text("".join("\t".join(map(bids_cell, row)) + "\n" for row in table))


def write_xdf(path: Path, table: np.ndarray, accel_unit: str = "mg") -> None:
    units = (*(accel_unit,) * 3, *("deg/s",) * 3)
    stream = Stream("left_shank", table[:, 0] / 1000, table[:, 1:], NAMES[1:], units)
    path.write_bytes(xdf(stream))


_WITHOUT_TIME = {key: value for key, value in COLUMNS.items() if key != "time"}
KINDS: dict[str, Kind] = {
    "delimited": Kind("delimited", write_delimited),
    "parquet": Kind("parquet", write_parquet),
    "hdf5 of others": Kind("hdf5", write_foreign_hdf5),
    "hdf5": Kind("hdf5", write_own_hdf5, {}),
    "bids-motion": Kind("bids-motion", write_bids, {}, "sub-R07_task-run_tracksys-a_motion.tsv"),
    "xdf": Kind("xdf", write_xdf, {"format": "xdf", **_WITHOUT_TIME}),
}
