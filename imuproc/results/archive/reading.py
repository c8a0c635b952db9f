"""Archives opened: tables as pandas, curves and signals as arrays, each read when asked for."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import h5py
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.errors import ArchiveError
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import Calibration, Interval, Slip
from imuproc.results.archive.flag_table import read_flags
from imuproc.results.archive.head import verify_archive
from imuproc.results.archive.schema import KNOWN_SCHEMAS
from imuproc.results.archive.values import read_attribute, read_json, read_names, read_table

Float32Array = NDArray[np.float32]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ArchivedSignals:
    """Conditioned signals of one sensor, segment axes x forward, y left, z up.

    Parameters
    ----------
    site : str
    time_s : ndarray of float64, shape (n,)
        The run's common clock in s.
    accel_mps2, gyro_radps : ndarray of float32, shape (n, 3)
        Specific force in m/s² and angular velocity in rad/s.
    measured, accel_clipped, gyro_clipped : ndarray of bool, shape (n,)
        Where the sensor measured, and where it was at the end of its range.
    calibration : Calibration
        How the segment axes were found.
    """

    site: str
    time_s: FloatArray
    accel_mps2: Float32Array
    gyro_radps: Float32Array
    measured: BoolArray
    accel_clipped: BoolArray
    gyro_clipped: BoolArray
    calibration: Calibration


@dataclass(frozen=True, eq=False)
class ArchivedMotion:
    """Orientation and velocity of one segment, world axes X forward, Y left, Z up.

    Parameters
    ----------
    site : str
    time_s : ndarray of float64, shape (n,)
        The run's common clock in s.
    quat_wxyz : ndarray of float32, shape (n, 4)
        Turns segment axes into world axes.
    velocity_mps : ndarray of float32, shape (n, 3)
        Of the sensor in m/s.
    pitch_rad, pitch_u_rad : ndarray of float32, shape (n,)
        Sagittal rotation from quiet standing in rad, toe up positive; its standard uncertainty.
    lever_m : ndarray of float64, shape (3,)
        Sensor to the ball of the foot (foot) or to the ankle (shank) in m, segment axes.
    """

    site: str
    time_s: FloatArray
    quat_wxyz: Float32Array
    velocity_mps: Float32Array
    pitch_rad: Float32Array
    pitch_u_rad: Float32Array
    lever_m: FloatArray


@dataclass(frozen=True, eq=False)
class ArchivedRun:
    """One run of an open archive; tables and arrays are read when asked for.

    Parameters
    ----------
    id : str
    status : {"done", "failed"}
        A failed run has its summary with the reason and its provenance, but neither curves nor
        signals.
    fingerprint : str
        What finished work is recognised by.
    inputs : mapping from str to str
        SHA-256 of each input by name.
    settings : mapping
        Every number that the method used, stage by stage.
    versions : mapping from str to str
        Of the programs that made it.
    summary : mapping
        The run's row of the run table.
    about : mapping
        Athlete, run, gravity, rate and sensors as the session file states them.
    distance : mapping or None
        Way over the effort in m, its standard uncertainty and parts.
    history : tuple of HistoryEntry
    flags : tuple of RaisedFlag
        Flags of the run and of its steps.
    curve_names, sites, moving_sites : tuple of str
        What :meth:`curve`, :meth:`signals` and :meth:`motion` have.
    group : h5py.Group
        Where all of it lies.
    """

    id: str
    status: str
    fingerprint: str
    inputs: Mapping[str, str]
    settings: Mapping[str, Any]
    versions: Mapping[str, str]
    summary: Mapping[str, Any]
    about: Mapping[str, Any]
    distance: Mapping[str, Any] | None
    history: tuple[HistoryEntry, ...]
    flags: tuple[RaisedFlag, ...]
    curve_names: tuple[str, ...]
    sites: tuple[str, ...]
    moving_sites: tuple[str, ...]
    group: h5py.Group = field(repr=False)

    @property
    def steps(self) -> pd.DataFrame:
        """Step table, columns as when it was written."""
        return read_table(self._get_open_group()["steps"])

    @property
    def uncertainty(self) -> dict[str, pd.DataFrame]:
        """For each figure its standard uncertainty by named part, rows as in ``steps``."""
        if "uncertainty" not in self._get_open_group():
            return {}
        group = self.group["uncertainty"]
        return {
            figure: pd.DataFrame((parts := group[figure])[()], columns=read_names(parts, "parts"))
            for figure in read_names(group, "figures")
        }

    @property
    def events(self) -> pd.DataFrame:
        """Contacts in order of touchdown, times in s, uncertainties and the detector's evidence."""
        return read_table(self._get_member("events"))

    @property
    def time_s(self) -> FloatArray:
        """Clock of curves, signals and motion in s, shape (n,)."""
        time_s: FloatArray = self._get_member("time_s")[()]
        return time_s

    def curve(self, name: str) -> Float32Array:
        """One angle curve in deg, shape (n,), on the clock ``time_s``.

        Raises
        ------
        ArchiveError
            The run has no such curve.
        """
        self._require_name(name, self.curve_names, "curve")
        values: Float32Array = self._get_member("curves")[name][()]
        return values

    def curves(self, names: Sequence[str] | None = None) -> pd.DataFrame:
        """Angle curves in deg beside ``time_s``; all when no names are given."""
        wanted = self.curve_names if names is None else names
        return pd.DataFrame({"time_s": self.time_s, **{name: self.curve(name) for name in wanted}})

    def signals(self, site: str) -> ArchivedSignals:
        """Conditioned signals of one sensor; ArchiveError where the run has none there."""
        self._require_name(site, self.sites, "sensor")
        group = self._get_member("signals")[site]
        return ArchivedSignals(
            site=site,
            time_s=self.time_s,
            accel_mps2=group["accel_mps2"][()],
            gyro_radps=group["gyro_radps"][()],
            measured=group["measured"][()].astype(np.bool_),
            accel_clipped=group["accel_clipped"][()].astype(np.bool_),
            gyro_clipped=group["gyro_clipped"][()].astype(np.bool_),
            calibration=_read_calibration(read_json(group, "calibration")),
        )

    def motion(self, site: str) -> ArchivedMotion:
        """Orientation and velocity of one segment; ArchiveError where the run has none of it."""
        self._require_name(site, self.moving_sites, "motion")
        group = self._get_member("motion")[site]
        names = ("quat_wxyz", "velocity_mps", "pitch_rad", "pitch_u_rad", "lever_m")
        return ArchivedMotion(site, self.time_s, *(group[name][()] for name in names))

    def _require_name(self, name: str, known: Sequence[str], what: str) -> None:
        if name not in known:
            allowed = ", ".join(known) or "none"
            raise ArchiveError(f"run {self.id}: has no {what} {name!r}; it has: {allowed}")

    def _get_member(self, name: str) -> Any:
        if name not in self._get_open_group():
            raise ArchiveError(f"run {self.id}: has no {name}; it could not be processed")
        return self.group[name]

    def _get_open_group(self) -> h5py.Group:
        if not self.group:
            raise ArchiveError(f"run {self.id}: its archive has been closed")
        return self.group


class Archive:
    """An open archive of a recording or of a session; use it as a context manager.

    Parameters
    ----------
    path : Path
        Archive that is whole and of a known schema, see :func:`open_archive`.
    file : h5py.File
    """

    def __init__(self, path: Path, file: h5py.File) -> None:
        self.path = path
        self.kind = read_attribute(file, "kind")
        self.session: Mapping[str, Any] = read_json(file, "session") if "session" in file else {}
        self.runs: tuple[str, ...] = tuple(read_json(file, "order"))
        self._file = file

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was read stays."""
        self._file.close()

    @property
    def steps(self) -> pd.DataFrame:
        """Step tables of all runs under each other."""
        tables = [read_table(self._get_run_group(run_id)["steps"]) for run_id in self.runs]
        filled = [table for table in tables if len(table)]
        if not filled:
            return tables[0] if tables else pd.DataFrame()
        return pd.concat(filled, ignore_index=True)

    def run(self, run_id: str) -> ArchivedRun:
        """One run.

        Parameters
        ----------
        run_id : str
            One of ``runs``.

        Raises
        ------
        ArchiveError
            The archive has no such run.
        """
        return _read_run(run_id, self._get_run_group(run_id))

    def fingerprint(self, run_id: str) -> str:
        """What finished work is recognised by, of one run; nothing else is read."""
        return read_attribute(self._get_run_group(run_id), "fingerprint")

    def _get_run_group(self, run_id: str) -> h5py.Group:
        if not self._file:
            raise ArchiveError(f"{self.path}: has been closed")
        if run_id not in self.runs:
            raise ArchiveError(
                f"{self.path}: has no run {run_id!r}; it has: {', '.join(self.runs) or 'none'}"
            )
        return self._file["runs"][run_id]


def open_archive(path: str | Path) -> Archive:
    """Open an archive of a recording (``runs/R07-01.h5``) or of a session (``session.h5``).

    Every byte of the file is verified first; after that only what is asked for is read.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Archive
        To be closed, or used in a ``with`` statement.

    Raises
    ------
    ArchiveError
        The file cannot be read, is no archive, is damaged, or is of a schema that this version
        does not know; the text names the file, what is wrong and what to do.

    Examples
    --------
    >>> import imuproc, tempfile
    >>> options = imuproc.SessionOptions(runs=["R07-01"], report=False)
    >>> with tempfile.TemporaryDirectory() as out:
    ...     done = imuproc.process_session("data_samples/session.toml", out, options)
    ...     with imuproc.open_archive(f"{out}/session.h5") as archive:
    ...         archive.run("R07-01").sites
    ('left_shank', 'left_foot', 'right_shank', 'right_foot')
    """
    file = _open_verified(Path(path))
    return Archive(Path(path), file)


@contextmanager
def open_hdf5(path: Path) -> Iterator[h5py.File]:
    """The HDF5 file of an archive, verified; closed after the block."""
    file = _open_verified(path)
    try:
        yield file
    finally:
        file.close()


def _open_verified(path: Path) -> h5py.File:
    stated = verify_archive(path)
    try:
        file = h5py.File(path, "r", locking=False)
    except OSError as error:
        raise ArchiveError(f"{path}: cannot be read as HDF5 ({error})") from error
    schema = int(file.attrs.get("schema", 0))
    if schema == stated and schema in KNOWN_SCHEMAS:
        return file
    file.close()
    if schema != stated:
        raise ArchiveError(f"{path}: is damaged, its head does not go with its content")
    known = ", ".join(map(str, KNOWN_SCHEMAS))
    raise ArchiveError(
        f"{path}: is of schema {schema}, this version of imuproc knows {known}; open it with a "
        "newer version of imuproc"
    )


def _read_run(run_id: str, group: h5py.Group) -> ArchivedRun:
    done = read_attribute(group, "status") == "done"
    inputs, settings, versions, summary = (
        read_json(group, name) for name in ("inputs", "settings", "versions", "summary")
    )
    return ArchivedRun(
        id=run_id,
        status=read_attribute(group, "status"),
        fingerprint=read_attribute(group, "fingerprint"),
        inputs=inputs,
        settings=settings,
        versions=versions,
        summary=summary,
        about=read_json(group, "about") if done else {},
        distance=read_json(group, "distance") if done else None,
        history=_read_history(group) if done else (),
        flags=read_flags(group) if done else (),
        curve_names=tuple(read_names(group["curves"], "curves")) if done else (),
        sites=tuple(read_names(group["signals"], "sites")) if done else (),
        moving_sites=tuple(read_names(group["motion"], "sites")) if done else (),
        group=group,
    )


def _read_history(group: h5py.Group) -> tuple[HistoryEntry, ...]:
    entries = read_json(group, "history")
    return tuple(HistoryEntry(e["stage"], e["what"], e["parameters"]) for e in entries)


def _read_calibration(kept: Mapping[str, Any]) -> Calibration:
    spans = {
        name: kept[name] and Interval(**kept[name]) for name in ("still_before", "still_after")
    }
    up_after, slip = kept.get("up_after"), kept.get("slip")
    return Calibration(
        segment_from_sensor=np.array(kept["segment_from_sensor"]),
        gyro_bias_radps=np.array(kept["gyro_bias_radps"]),
        gyro_bias_u_radps=kept["gyro_bias_u_radps"],
        still_before=spans["still_before"],
        still_after=spans["still_after"],
        axis_u_rad=kept["axis_u_rad"],
        vertical_known=kept["vertical_known"],
        rests=tuple(Interval(**rest) for rest in kept["rests"]),
        # Archives of earlier versions lack these.
        zero_moved_radps=kept.get("zero_moved_radps", 0.0),
        slip_u_rad=kept.get("slip_u_rad", 0.0),
        up_after=None if up_after is None else tuple(up_after),
        slip=None if slip is None else Slip(**{**slip, "turn_rad": tuple(slip["turn_rad"])}),
    )
