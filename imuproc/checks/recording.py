"""The check of one recording, sensor by sensor and all together."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from math import isfinite
from typing import Final

from imuproc.checks.findings import CheckReport, Reason, Sampling, SensorCheck, Stillness
from imuproc.checks.ranges import list_range_reasons
from imuproc.checks.sampling import check_sampling
from imuproc.checks.scan import Scan, scan_log
from imuproc.checks.settings import CheckSettings
from imuproc.checks.signals import list_signal_reasons
from imuproc.checks.still import check_stillness, list_stillness_reasons, mark_worn_together
from imuproc.checks.together import Together, check_together
from imuproc.checks.wording import from_flag, from_own_fault, from_unreadable
from imuproc.core.errors import LogError, RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site
from imuproc.pipeline.sources import RecordingSource

_ORDER: Final = ("unfit", "limit", "note")


@dataclass(frozen=True)
class LogToCheck:
    """A log that a check can go through.

    Parameters
    ----------
    site : Site
    source : str
        Its path as the session file names it.
    pieces : callable
        Gives its successive pieces; may raise LogError, at once or later on.
    stated_rate_hz : float or None
        Rate from the layout, where the log has no time column.
    """

    site: Site
    source: str
    pieces: Callable[[], Iterable[SensorLog]]
    stated_rate_hz: float | None = None


def check_recording(
    recording: Recording,
    stated_rate_hz: Mapping[Site, float] | None = None,
    settings: CheckSettings | None = None,
) -> CheckReport:
    """Check the sensors of a recording that is in memory.

    Parameters
    ----------
    recording : Recording
        As read.
    stated_rate_hz : mapping from Site to float, optional
        Rates from the layout of logs without a time column.
    settings : CheckSettings, optional

    Returns
    -------
    CheckReport

    See Also
    --------
    imuproc.checks.session.check_session : the logs of a session file.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> report = check_recording(session.read_run("R07-01"))
    >>> [str(sensor.verdict) for sensor in report.sensors]
    ['fit', 'fit', 'fit', 'fit with limits']
    """
    settings = settings or CheckSettings()
    source = RecordingSource(recording, settings.piece_samples)
    rates = stated_rate_hz or {}
    logs = [
        LogToCheck(site, log.source, partial(source.pieces, site), rates.get(site))
        for site, log in recording.logs.items()
    ]
    return check_sensor_logs(source.about, logs, settings)


def check_sensor_logs(
    about: Recording, logs: Iterable[LogToCheck], settings: CheckSettings | None = None
) -> CheckReport:
    """Check the logs of a recording, each read once and piece by piece.

    Parameters
    ----------
    about : Recording
        Who ran and what; its logs do not matter.
    logs : iterable of LogToCheck
    settings : CheckSettings, optional

    Returns
    -------
    CheckReport
        A log that cannot be read has its row and its reason; the others go on. So it is where the
        check itself fails unforeseen.
    """
    logs = tuple(logs)
    try:
        return _check_logs_together(about, logs, settings or CheckSettings())
    except Exception as error:  # noqa: BLE001  our own fault in one run must not cost the others
        sensors = tuple(SensorCheck(log.site, log.source) for log in logs)
        return CheckReport(about.run.id, about.athlete.id, (), sensors, (from_own_fault(error),))


def _check_logs_together(
    about: Recording, logs: Sequence[LogToCheck], settings: CheckSettings
) -> CheckReport:
    looked = [_look_at_log(log, about, settings) for log in logs]
    usable = {one.log.site: one for one in looked if one.scan is not None and one.usable}
    scans = {site: one.scan for site, one in usable.items() if one.scan is not None}
    samplings = {site: one.sampling for site, one in usable.items()}
    together = check_together(about, scans, samplings, settings)
    stills = mark_worn_together([one.still for one in looked])
    rested = max((still.still_s for still in stills), default=0.0) >= settings.lying_needs_s
    sensors = tuple(
        _finish_check(replace(one, still=still), together, rested, settings)
        for one, still in zip(looked, stills, strict=True)
    )
    return CheckReport(
        run=about.run.id,
        athlete=about.athlete.id,
        runs=together.runs,
        sensors=sensors,
        reasons=_sort_reasons(together.common),
    )


@dataclass(frozen=True, eq=False)
class _LookedAt:
    """What one log by itself tells."""

    log: LogToCheck
    scan: Scan | None = None
    sampling: Sampling = field(default_factory=Sampling)
    still: Stillness = field(default_factory=Stillness)
    reasons: tuple[Reason, ...] = ()

    @property
    def usable(self) -> bool:
        return not any(reason.severity == "unfit" for reason in self.reasons)


def _look_at_log(log: LogToCheck, about: Recording, settings: CheckSettings) -> _LookedAt:
    try:
        return _read_log(log, about, settings)
    except (LogError, RunError) as error:
        return _LookedAt(log, reasons=(from_unreadable(error, log.source, log.site),))
    except Exception as error:  # noqa: BLE001  our own fault in one log must not cost the others
        return _LookedAt(log, reasons=(from_own_fault(error),))


def _read_log(log: LogToCheck, about: Recording, settings: CheckSettings) -> _LookedAt:
    scan = scan_log(log.pieces(), settings)
    sampling, reasons = check_sampling(scan, log.stated_rate_hz, settings)
    # Repeated samples have a reason of their own.
    sampling = replace(sampling, missing=sampling.missing + scan.repeated)
    if scan.log.cut_short:
        cut_short = RaisedFlag("log_cut_short", {"reason": scan.log.cut_short}, log.site)
        reasons.append(from_flag(cut_short))
    if log.stated_rate_hz is not None:
        reasons.append(_RATE_IS_STATED)
    if isfinite(sampling.rate_hz):
        reasons = [*list_signal_reasons(scan, sampling.rate_hz, about, settings), *reasons]
    still = check_stillness(scan.tracks, settings)
    scan = replace(scan, time_s=scan.time_s[:0])  # the only part that grows with the rate
    return _LookedAt(log, scan, sampling, still, tuple(reasons))


_RATE_IS_STATED: Final = Reason(
    "note",
    "The log has no time column, so its true rate, jitter and lost samples cannot be seen.",
    "Let the logger write time stamps if it can.",
)


def _finish_check(
    looked: _LookedAt, together: Together, rested: bool, settings: CheckSettings
) -> SensorCheck:
    """One sensor's check with what all of them told; ``rested``: some of them were still.

    Of a sensor that is not fit by itself its range and stillness are no reasons: a wrong unit, say,
    makes them look wrong too.
    """
    site = looked.log.site
    check = SensorCheck(site, looked.log.source, looked.sampling, reasons=looked.reasons)
    if looked.scan is None:
        return check
    run_s = sum(run.duration_s for run in together.runs)
    run_samples = run_s * looked.sampling.rate_hz if together.runs else 0.0
    own = [*looked.reasons, *together.reasons.get(site, ())]
    if looked.usable:
        own += list_range_reasons(looked.scan, run_samples, settings)
        own += list_stillness_reasons(looked.still, rested or not together.runs, settings)
    return replace(
        check,
        accel=looked.scan.accel,
        gyro=looked.scan.gyro,
        still=looked.still,
        standing_differs_rad=together.standing_differs_rad.get(site, check.standing_differs_rad),
        clock=together.clocks.get(site, check.clock),
        reasons=_sort_reasons(own),
    )


def _sort_reasons(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Worst first, each once."""
    once = dict.fromkeys(reasons)
    return tuple(sorted(once, key=lambda reason: _ORDER.index(reason.severity)))
