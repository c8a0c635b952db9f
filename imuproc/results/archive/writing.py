"""One archive per processed recording: everything that it gave, traced to its inputs."""

import platform
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, Final

import h5py
import numpy as np
import pandas as pd

from imuproc import __version__
from imuproc.core.contacts import Contacts
from imuproc.core.errors import ArchiveError
from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import SegmentMotion
from imuproc.core.recording import Conditioned, Recording
from imuproc.core.result import Result
from imuproc.core.uncertainty import PARTS
from imuproc.files.whole import replace_file
from imuproc.results.archive.flag_table import write_flags
from imuproc.results.archive.head import HEAD_BYTES, seal
from imuproc.results.archive.schema import (
    ARRAYS,
    FORMAT,
    SCHEMA,
    Explained,
    curve,
    event_column,
    step_column,
    uncertainty_parts,
)
from imuproc.results.archive.sink import Sink
from imuproc.results.archive.values import (
    write_array,
    write_attribute,
    write_json,
    write_names,
    write_table,
)
from imuproc.results.tables import joined_steps

_RUN_ID: Final = re.compile(r"[A-Za-z0-9_-]{1,100}")


@dataclass(frozen=True)
class Provenance:
    """Where the content of an archive comes from.

    Parameters
    ----------
    fingerprint : str
        What the caller recognises finished work by: of inputs, settings and version.
    inputs : mapping from str to str
        SHA-256 in hexadecimal of each log, by its path as the session file names it, and of what
        the session file states of the run. No absolute paths.
    settings : object
        All settings of the method: a model, dataclass or mapping, nested.
    summaries : mapping from str to mapping
        By run id: its row of the run table.
    """

    fingerprint: str
    inputs: Mapping[str, str]
    settings: Any
    summaries: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def write_run_archive(path: Path, result: Result | None, provenance: Provenance) -> None:
    """Write the archive of one recording; the same content gives the same bytes.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole and on the disk.
    result : Result or None
        A recording that held several runs is archived run by run. None for a recording that could
        not be processed: the runs in ``provenance.summaries`` are then kept as failed.
    provenance : Provenance

    Raises
    ------
    ArchiveError
        The result does not fit together, or a run id cannot name a place in the archive.
    OSError
        The file cannot be written; what was there before is still there.
    """
    with open_run_archive(path, provenance) as archive:
        for run in () if result is None else result.parts or (result,):
            archive.add(run)
        runs: dict[str, Mapping[str, Any]] = {
            run_id: {} for run_id in archive.runs or provenance.summaries
        }
        flags = () if result is None else result.flags
        archive.close({**runs, **provenance.summaries}, flags)


@contextmanager
def open_run_archive(path: Path, provenance: Provenance) -> "Iterator[RunArchive]":
    """An archive of one recording to be filled run by run; it gets its name when all went well.

    Parameters
    ----------
    path : Path
    provenance : Provenance
        Its summaries are not used.

    Yields
    ------
    RunArchive

    Raises
    ------
    ArchiveError, OSError
        As :func:`write_run_archive`.
    """
    with archive_file(path, "recording") as (root, sink):
        yield RunArchive(path, root, sink, provenance)


class RunArchive:
    """An archive that is being written: only small things of a run stay in memory."""

    def __init__(self, path: Path, root: h5py.File, sink: Sink, provenance: Provenance) -> None:
        self._path, self._root, self._sink = path, root, sink
        self._provenance = provenance
        self.runs: list[str] = []

    def add(self, result: Result) -> None:
        """Write all of one run but its flags and its row of the run table.

        Raises
        ------
        ArchiveError
            The result does not fit together, or its id cannot name a place in the archive.
        OSError
            The file cannot be written.
        """
        named = set(result.steps["run"]) - {result.run}
        if named:
            raise ArchiveError(f"run {result.run}: found steps of {', '.join(sorted(named))} in it")
        _write_run(self._create_run_group(result.run), result)
        self.runs.append(result.run)
        self._root.flush()
        self._sink.check()

    def close(
        self, summaries: Mapping[str, Mapping[str, Any]], flags: Iterable[RaisedFlag]
    ) -> None:
        """Write what is known when all runs are: their rows and flags.

        Parameters
        ----------
        summaries : mapping from str to mapping
            By run id, in order; runs that were not added are kept as failed.
        flags : iterable of RaisedFlag
            Of all runs, and of the recording as a whole where they name no run.
        """
        raised = tuple(flags)
        write_json(self._root, "order", list(summaries))
        for run_id, summary in summaries.items():
            if run_id in self.runs:
                group = self._root[f"runs/{run_id}"]
                own = tuple(flag for flag in raised if flag.run in ("", run_id))
                write_flags(group, own)
            else:
                group = self._create_run_group(run_id)
                _write_failed(group)
            write_json(group, "summary", summary)

    def _create_run_group(self, run_id: str) -> h5py.Group:
        if not _RUN_ID.fullmatch(run_id):
            raise ArchiveError(
                f"{self._path}: found {run_id!r} as id of a run; allowed: A-Za-z0-9_-"
            )
        group = self._root.create_group(f"runs/{run_id}")
        write_attribute(group, "fingerprint", self._provenance.fingerprint)
        write_json(group, "inputs", dict(sorted(self._provenance.inputs.items())))
        write_json(group, "settings", self._provenance.settings)
        write_json(group, "versions", versions())
        return group


@contextmanager
def archive_file(path: Path, kind: str) -> Iterator[tuple[h5py.File, Sink]]:
    """Give a new HDF5 file to fill; it is sealed and gets its name when the block succeeds.

    Parameters
    ----------
    path : Path
    kind : {"recording", "session"}

    Yields
    ------
    h5py.File
    Sink
        What it is written to: ``check()`` raises at once what the end of the block would raise.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    with replace_file(path) as temporary:
        with Sink(temporary) as sink:
            try:
                with _create_hdf5(sink) as file:
                    write_attribute(file, "kind", kind)
                    yield file, sink
            except (OSError, RuntimeError):
                sink.check()  # what came after it is of no interest
                raise
            sink.check()
        seal(temporary, SCHEMA)


def _create_hdf5(sink: Sink) -> h5py.File:
    # Version 1.8 of the format, of 2008 (from memory): what any HDF5 since then can read.
    file = h5py.File(sink, "w", libver=("v108", "v108"), userblock_size=HEAD_BYTES)
    write_attribute(file, "format", FORMAT)
    file.attrs["schema"] = np.int64(SCHEMA)
    file.create_group("runs")
    return file


def versions() -> dict[str, str]:
    """What the bytes of a result depend on besides inputs and settings."""
    return {
        "imuproc": __version__,
        "python": ".".join(platform.python_version_tuple()[:2]),
        **{name: version(name) for name in ("numpy", "scipy", "pandas", "h5py")},
        "hdf5": h5py.version.hdf5_version,
    }


def _write_failed(group: h5py.Group) -> None:
    write_attribute(group, "status", "failed")
    write_table(group, "steps", joined_steps([]), step_column)


def _write_run(group: h5py.Group, result: Result) -> None:
    """Everything of one run but its flags."""
    conditioned, motion = result.conditioned, result.motion
    time_s = conditioned.time_s
    for name, other_s in (("motion", motion.time_s), ("curves", result.curves["time_s"])):
        if not np.array_equal(time_s, np.asarray(other_s)):
            raise ArchiveError(f"run {result.run}: {name} and signals are not on the same clock")
    write_attribute(group, "status", "done")
    write_json(group, "about", _describe_recording(conditioned.recording, conditioned.rate_hz))
    write_json(group, "history", result.history)
    write_json(group, "distance", result.distances.get(result.run))
    write_table(group, "steps", result.steps, step_column)
    _write_uncertainty(group.create_group("uncertainty"), result.uncertainty)
    write_table(group, "events", _build_event_table(result.contacts), event_column)
    write_array(group, "time_s", time_s, ARRAYS["time_s"], "<f8")
    curves = group.create_group("curves")
    names = [str(name) for name in result.curves if name != "time_s"]
    write_names(curves, "curves", names)
    for name in names:
        write_array(curves, name, result.curves[name].to_numpy(), curve(name), "<f4")
    signals, moved = group.create_group("signals"), group.create_group("motion")
    write_names(signals, "sites", list(conditioned.segments))
    write_names(moved, "sites", list(motion.segments))
    for site, segment in conditioned.segments.items():
        _write_signals(signals.create_group(site), segment)
    for site, moving in motion.segments.items():
        _write_motion(moved.create_group(site), moving)


def _describe_recording(recording: Recording, rate_hz: float) -> dict[str, Any]:
    logs = {
        site: {
            "source": _hide_folders(log.source),
            "accel_range_mps2": log.accel_range_mps2,
            "gyro_range_radps": log.gyro_range_radps,
        }
        for site, log in recording.logs.items()
    }
    return {
        "session": recording.session,
        "athlete": recording.athlete,
        "run": recording.run,
        "gravity_mps2": recording.gravity_mps2,
        "rate_hz": rate_hz,
        "logs": logs,
    }


def _hide_folders(source: str) -> str:
    """Path of a log; of an absolute one the name alone, as folders tell of one machine only."""
    windows = PureWindowsPath(source)
    if PurePosixPath(source).is_absolute() or windows.drive or windows.root:
        return windows.name
    return source


def _write_uncertainty(group: h5py.Group, uncertainty: Mapping[str, pd.DataFrame]) -> None:
    write_names(group, "figures", list(uncertainty))
    for figure, parts in uncertainty.items():
        values = parts.to_numpy(dtype=np.float64)
        write_array(group, figure, values, uncertainty_parts(figure), "<f8")
        write_names(group[figure], "parts", list(parts.columns))
        write_names(group[figure], "part_meanings", [PARTS.get(part, "") for part in parts.columns])


def _build_event_table(contacts: Contacts) -> pd.DataFrame:
    columns = {
        "side": [str(side) for side in contacts.side],
        "touchdown_s": contacts.touchdown_s,
        "toe_off_s": contacts.toe_off_s,
        "touchdown_u_s": contacts.touchdown_u_s,
        "toe_off_u_s": contacts.toe_off_u_s,
    }
    return pd.DataFrame({**columns, **contacts.evidence})


def _write_arrays(group: h5py.Group, arrays: Mapping[str, Any], dtype: str) -> None:
    for name, values in arrays.items():
        explained: Explained = ARRAYS[name]
        write_array(group, name, np.asarray(values), explained, dtype)


def _write_signals(group: h5py.Group, segment: Conditioned) -> None:
    signals = {"accel_mps2": segment.accel_mps2, "gyro_radps": segment.gyro_radps}
    masks = {
        "measured": segment.measured,
        "accel_clipped": segment.accel_clipped,
        "gyro_clipped": segment.gyro_clipped,
    }
    _write_arrays(group, signals, "<f4")
    _write_arrays(group, masks, "|u1")
    write_json(group, "calibration", segment.calibration)


def _write_motion(group: h5py.Group, moving: SegmentMotion) -> None:
    arrays = {
        "quat_wxyz": moving.quat_wxyz,
        "velocity_mps": moving.velocity_mps,
        "pitch_rad": moving.pitch_rad,
        "pitch_u_rad": moving.pitch_u_rad,
    }
    _write_arrays(group, arrays, "<f4")
    _write_arrays(group, {"lever_m": moving.lever_m}, "<f8")
