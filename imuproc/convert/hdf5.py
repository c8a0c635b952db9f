"""Sessions as HDF5 in our own open layout: see :mod:`imuproc.readers.logs.hdf5.logs`."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
from numpy.typing import NDArray

from imuproc.convert.form import Facts, Target, Watched
from imuproc.convert.tables import AXES, list_log_targets
from imuproc.core.recording import SensorLog
from imuproc.files.whole import replace_file
from imuproc.readers.logs.hdf5.logs import FORMAT, VERSION
from imuproc.readers.session import Session

_CHUNK_ROW_COUNT: Final = 8192
"""Rows of a chunk; chosen: 64 kB of a column, well below the 1 MB that HDF5 caches."""
_LAYOUT: Final = "hdf5"


def list_targets(session: Session, runs: Iterable[str]) -> list[Target]:
    """A file for each log."""
    return list_log_targets(session, runs, ".h5")


def list_files_beside(_target: Target) -> tuple[str, ...]:
    """List further files: none, as the file says all of itself."""
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
    with replace_file(path) as temporary, h5py.File(temporary, "w") as file:
        file.attrs["format"], file.attrs["version"] = _to_fixed_text(FORMAT), VERSION
        group = file.create_group(target.site)
        group.attrs["tracked_point"] = _to_fixed_text(target.site)
        datasets = {
            "time_s": _create_dataset(group, "time_s", (), "s"),
            "accel": _create_dataset(group, "accel", (3,), "m/s^2"),
            "gyro": _create_dataset(group, "gyro", (3,), "rad/s"),
        }
        for piece in watched:
            _append_values(datasets["time_s"], piece.time_s)
            _append_values(datasets["accel"], piece.accel_mps2)
            _append_values(datasets["gyro"], piece.gyro_radps)
        _write_attributes(group, watched.get_facts())
    return watched.get_facts()


def _create_dataset(
    group: h5py.Group, name: str, width: tuple[int, ...], units: str
) -> h5py.Dataset:
    dataset = group.create_dataset(
        name,
        shape=(0, *width),
        maxshape=(None, *width),
        chunks=(_CHUNK_ROW_COUNT, *width),
        dtype="<f8",
        shuffle=True,
        compression="gzip",
        compression_opts=1,
        track_times=False,
    )
    dataset.attrs["units"] = _to_fixed_text(units)
    if width:
        dataset.attrs["component"] = np.array(AXES, dtype="S1")
    return dataset


def _to_fixed_text(text: str) -> np.bytes_:
    # Of fixed length: texts of any length need a heap, which readers find hard to check.
    return np.bytes_(text.encode("ascii"))


def _append_values(dataset: h5py.Dataset, values: NDArray[np.float64]) -> None:
    before = len(dataset)
    dataset.resize(before + len(values), axis=0)
    dataset[before:] = values


def _write_attributes(group: h5py.Group, facts: Facts) -> None:
    if np.isfinite(facts.rate_hz):
        group.attrs["sampling_frequency"] = facts.rate_hz
    if facts.zero_at is not None:
        group.attrs["start_time"] = _to_fixed_text(facts.zero_at.isoformat())
    for name, full_scale in (("accel", facts.accel_range_mps2), ("gyro", facts.gyro_range_radps)):
        if full_scale is not None:
            group[name].attrs["range"] = full_scale


def build_layouts(written: list[tuple[Target, Facts]]) -> tuple[dict[str, Any], list[str]]:
    """One layout that only names the format."""
    return {_LAYOUT: {"format": "hdf5"}}, [_LAYOUT] * len(written)


def finish_folder(
    _folder: Path, _session: Session, _written: list[tuple[Target, Facts]]
) -> list[str]:
    """Write nothing: the folder needs no more than its logs."""
    return []
