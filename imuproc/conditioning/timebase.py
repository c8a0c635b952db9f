"""All logs of a recording on one regular clock, with everything that was not measured marked."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.clipping import RangeSettings, find_clipped_axes, restore_rate
from imuproc.conditioning.samples.marking import mark_samples
from imuproc.conditioning.samples.stamps import Stamps, StampSettings, repair_stamps
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.marks import Marks
from imuproc.core.recording import Recording, SensorLog, Slip
from imuproc.core.sites import Site
from imuproc.dsp.filters import find_finite_rows
from imuproc.dsp.resampling import interpolate, is_near_samples
from imuproc.files.settings_model import StageSettings, number, table

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class TimeBaseSettings(StageSettings):
    """How logs are put on a regular clock."""

    max_bridge_samples: int = number(
        3, (0, 1000), "Longest run of missing samples that is bridged by interpolation."
    )
    far_periods: float = number(
        1.5,
        (0.5, 100.0),
        "A grid time farther than this from every real sample is not measured.",
        unit="of the log's own sampling periods",
    )
    partly_covered_share: float = number(
        0.1, (0.0, 1.0), "A log that lacks more than this share of the recording's span is flagged."
    )
    stamps: StampSettings = table(StampSettings)
    range: RangeSettings = table(RangeSettings)


@dataclass(frozen=True, eq=False)
class SiteSignals:
    """One sensor's signals on the common clock, in its own axes.

    Parameters
    ----------
    site : Site
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        Specific force in m/s² and angular velocity in rad/s, sensor axes. NaN where a gap was too
        long to bridge and where the sensor was not running.
    measured : ndarray of bool, shape (n,)
        True where real samples of both are near. Bridged values are finite but may not be
        measured.
    accel_clipped, gyro_clipped : ndarray of bool, shape (n,)
        True next to samples at the end of the range.
    rate_hz : float
        Nominal rate of the sensor's own log in Hz.
    gyro_hidden_radps : ndarray, shape (n,), or None
        Standard uncertainty of the angular velocity where it was clipped (its peaks are rounded
        off), 0 elsewhere; None where nothing was.
    slip : Slip or None
        A turn on the limb that was taken out of the signals.
    """

    site: Site
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    measured: BoolArray
    accel_clipped: BoolArray
    gyro_clipped: BoolArray
    rate_hz: float
    gyro_hidden_radps: FloatArray | None = None
    slip: Slip | None = None


@dataclass(frozen=True, eq=False)
class TimeBased:
    """A recording on one regular clock, still in sensor axes.

    Parameters
    ----------
    recording : Recording
        Where it came from.
    time_s : ndarray, shape (n,)
        Regular clock in s, counted as the first log counts; a point lies on its first stamp.
    rate_hz : float
        Highest nominal rate of the logs.
    sites : mapping from Site to SiteSignals
    flags, history : tuple
        Those of the recording, and what was added.
    """

    recording: Recording
    time_s: FloatArray
    rate_hz: float
    sites: Mapping[Site, SiteSignals]
    flags: tuple[RaisedFlag, ...] = ()
    history: tuple[HistoryEntry, ...] = ()


def to_common_clock(
    recording: Recording, settings: TimeBaseSettings, unseen_gyro_sd_radps: float
) -> TimeBased:
    """Put every log on one regular clock that spans them all.

    The clock runs at the highest nominal rate of the logs (so nothing is thinned out), from the
    first sample of any log to the last of any, and one of its points is the first stamp of the
    first log. Values come from a local cubic through the samples around each point. Nothing is
    cut off and no long gap is filled: such values are NaN and not ``measured``.

    Parameters
    ----------
    recording : Recording
        One or more logs on a shared clock.
    settings : TimeBaseSettings
    unseen_gyro_sd_radps : float
        What a clipped sample of a gyroscope may hide where nothing tells the shape of its peak.

    Returns
    -------
    TimeBased

    Raises
    ------
    RunError
        If there is no log, the clocks are not shared, logs do not overlap, or the stamps of a log
        cannot be used (see :func:`imuproc.conditioning.samples.stamps.repair_stamps`).

    See Also
    --------
    imuproc.conditioning.axes.calibration.calibrate : from there to segment axes.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> timebased = to_common_clock(session.read_run("R07-01"), TimeBaseSettings(), 0.01)
    >>> float(timebased.rate_hz), len(timebased.time_s) > 1000
    (500.0, True)
    """
    _require_shared_clock(recording)
    stamps = {site: repair_stamps(log, settings.stamps) for site, log in recording.logs.items()}
    _require_overlap(recording, stamps)
    first = next(iter(stamps.values()))
    origin_s = float(first.time_s[0])
    # Rounded: stamps printed with few digits leave 500 Hz as 499.9999998.
    rate_hz = round(1.0 / min(s.period_s for s in stamps.values()), 6)
    # Times from here on count from the origin: stamps may be seconds since 1970.
    start = min(float(s.time_s[0]) - origin_s for s in stamps.values())
    end = max(float(s.time_s[-1]) - origin_s for s in stamps.values())
    grid_s = np.arange(ceil(start * rate_hz - 1e-3), floor(end * rate_hz + 1e-3) + 1) / rate_hz
    sites, flags = {}, list(recording.flags)
    for site, log in recording.logs.items():
        signals, raised = _resample_log(
            log, stamps[site], grid_s, origin_s, settings, unseen_gyro_sd_radps
        )
        sites[site] = signals
        flags += [*stamps[site].flags, *raised]
    entry = HistoryEntry(
        "conditioning.timebase",
        f"{len(sites)} logs put on one regular clock of {rate_hz:g} Hz",
        {"rate_hz": rate_hz, "samples": len(grid_s), **settings.model_dump()},
    )
    return TimeBased(
        recording=recording,
        time_s=origin_s + grid_s,
        rate_hz=rate_hz,
        sites=sites,
        flags=tuple(flags),
        history=(*recording.history, entry),
    )


def _require_shared_clock(recording: Recording) -> None:
    if not recording.logs:
        raise RunError(f"run {recording.run.id} names no log")
    claimed = recording.run.clock != "shared" and recording.clocks.shared
    if claimed and len(recording.logs) > 1:
        raise RunError(
            f'run {recording.run.id}: clock = "{recording.run.clock}": the logs have to be brought '
            "onto one clock first (imuproc.process does)"
        )


def _require_overlap(recording: Recording, stamps: Mapping[Site, Stamps]) -> None:
    latest = max(stamps, key=lambda site: float(stamps[site].time_s[0]))
    earliest = min(stamps, key=lambda site: float(stamps[site].time_s[-1]))
    if stamps[latest].time_s[0] < stamps[earliest].time_s[-1] or latest == earliest:
        return
    spans = " and ".join(
        f"{recording.logs[site].source} ({site}) covers {stamps[site].time_s[0]:.10g} to "
        f"{stamps[site].time_s[-1]:.10g} s"
        for site in (earliest, latest)
    )
    raise RunError(
        f"run {recording.run.id}: logs do not overlap: {spans}. Check that they belong to the "
        "same run, that their time columns have the same unit and that they share one clock"
    )


def _resample_log(
    log: SensorLog,
    stamps: Stamps,
    grid_s: FloatArray,
    origin_s: float,
    settings: TimeBaseSettings,
    unseen_gyro_sd_radps: float,
) -> tuple[SiteSignals, list[RaisedFlag]]:
    """Signals of one log at the grid times, and the flags of what was missing or clipped."""
    time_s = stamps.time_s - origin_s
    accel, gyro = log.accel_mps2[stamps.row], log.gyro_radps[stamps.row]
    by_axis = _find_clipped(log, accel, gyro, settings.range)
    touched = {sensor: np.asarray(mask.any(axis=1)) for sensor, mask in by_axis.items()}
    gyro, hidden = restore_rate(time_s, gyro, by_axis["gyro"], unseen_gyro_sd_radps, settings.range)
    values = np.concatenate((accel, gyro), axis=1)
    # An accelerometer never reads exactly nothing on all axes: some loggers write 0 for missing.
    values[np.abs(accel) @ np.ones(3) == 0.0] = np.nan
    real = find_finite_rows(values)
    period_s = stamps.period_s
    max_gap_s = (settings.max_bridge_samples + settings.stamps.gap_periods) * period_s
    on_grid = interpolate(time_s, values, grid_s, max_gap_s)
    far_s = (settings.far_periods + 1e-6) * period_s
    # One period: as far as a clipped sample can reach through interpolation.
    reach_s = 1.001 * period_s
    clipped_at_all = hidden.any()
    hidden_on_grid = np.interp(grid_s, time_s, hidden) if clipped_at_all else np.zeros(len(grid_s))
    signals = SiteSignals(
        site=log.site,
        accel_mps2=np.ascontiguousarray(on_grid[:, :3]),
        gyro_radps=np.ascontiguousarray(on_grid[:, 3:]),
        measured=is_near_samples(time_s[real], grid_s, far_s) & find_finite_rows(on_grid),
        accel_clipped=is_near_samples(time_s[touched["accel"]], grid_s, reach_s),
        gyro_clipped=is_near_samples(time_s[touched["gyro"]], grid_s, reach_s),
        rate_hz=1.0 / period_s,
        gyro_hidden_radps=hidden_on_grid,
    )
    flags = _list_missing_flags(stamps, real, log.site, settings.max_bridge_samples)
    flags += _list_cover_flags(log.site, stamps.time_s, grid_s[-1] - grid_s[0], settings)
    return signals, flags + _list_clipped_flags(log.site, stamps.time_s, touched)


def _find_clipped(
    log: SensorLog, accel: FloatArray, gyro: FloatArray, settings: RangeSettings
) -> dict[str, BoolArray]:
    """Values at the end of the range, by sensor."""
    ranges = (log.accel_range_mps2, settings.least_accel_range_mps2)
    turns = (log.gyro_range_radps, settings.least_gyro_range_radps)
    return {
        "accel": find_clipped_axes(accel, *ranges, settings),
        "gyro": find_clipped_axes(gyro, *turns, settings),
    }


def _list_cover_flags(
    site: Site, time_s: FloatArray, span_s: float, settings: TimeBaseSettings
) -> list[RaisedFlag]:
    if span_s - (time_s[-1] - time_s[0]) <= settings.partly_covered_share * span_s:
        return []
    first_s, last_s = float(time_s[0]), float(time_s[-1])
    ends = np.array([-np.inf, last_s]), np.array([first_s, np.inf])
    marks = Marks(*ends, np.zeros(2, dtype=np.int64), counted=False)
    values = {"covered_from_s": first_s, "covered_to_s": last_s}
    return [RaisedFlag.from_marks("partly_covered", marks, site, values)]


def _list_missing_flags(
    stamps: Stamps, real: BoolArray, site: Site, max_bridge_samples: int
) -> list[RaisedFlag]:
    """Flags for samples missing between the real ones: bridged, and too many to bridge."""
    time_s = stamps.time_s[real]
    steps = np.diff(time_s)
    gaps = np.flatnonzero(steps > stamps.gap_s)
    missing = np.maximum(np.rint(steps[gaps] / stamps.period_s) - 1, 1).astype(np.int64)
    short = missing <= max_bridge_samples
    flags = []
    for name, own in (("samples_dropped", short), ("gap", ~short)):
        if own.any():
            marks = Marks(time_s[gaps[own]], time_s[gaps[own] + 1], missing[own])
            flags.append(RaisedFlag.from_marks(name, marks, site))
    return flags


def _list_clipped_flags(
    site: Site, time_s: FloatArray, touched: Mapping[str, BoolArray]
) -> list[RaisedFlag]:
    flags = []
    for sensor, mask in touched.items():
        if mask.any():
            marks = mark_samples(time_s, mask, in_running_only=True)
            flags.append(RaisedFlag.from_marks(f"{sensor}_clipped", marks, site))
    return flags
