"""The method itself, tried on one run of thinned signals: what it says of names and standing.

At 100 Hz its figures are poor, but which sensor sits where, and whether the athlete stood, are as
plain as at the full rate; and nothing can be said here that processing would not say.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.checks.findings import Reason
from imuproc.checks.settings import CheckSettings
from imuproc.checks.wording import from_flag, to_sentence
from imuproc.core.errors import RunError
from imuproc.core.flag_policy import policy_of
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Calibration, Interval, Recording, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import SIDES, Site, foot_of, shank_of
from imuproc.pipeline.run import process

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trial:
    """What the method says of a run.

    Parameters
    ----------
    standing_differs_rad : mapping from Site to float
        Angle between gravity in standing before and after it.
    reasons : mapping from Site to list of Reason
    common : list of Reason
    """

    standing_differs_rad: Mapping[Site, float] = field(default_factory=dict)
    reasons: Mapping[Site, list[Reason]] = field(default_factory=dict)
    common: list[Reason] = field(default_factory=list)


def try_method(recording: Recording, run: Interval, settings: CheckSettings) -> Trial:
    """Work out one run of thinned logs, and keep what tells about sensors.

    Parameters
    ----------
    recording : Recording
        Thinned logs on one clock.
    run : Interval
    settings : CheckSettings

    Returns
    -------
    Trial
        With the reason where the run is refused.
    """
    method = settings.method
    search_s, least = method.calibration.standing.search_s, method.sanity.min_samples
    logs = {site: _cut_around(log, run, search_s) for site, log in recording.logs.items()}
    logs = {site: log for site, log in logs.items() if len(log.time_s) >= least}
    where = f"in the run from {run.start_s:.1f} to {run.end_s:.1f} s"
    try:
        result = process(replace(recording, logs=logs), method)
    except RunError as error:
        return Trial(common=[_explain_refusal(error, recording, where)])
    result = result.parts[0] if result.parts else result
    reasons: dict[Site, list[Reason]] = {site: [] for site in recording.logs}
    common: list[Reason] = []
    for flag in result.flags:
        severity = policy_of(flag.name).trial
        if severity is None or flag.step is not None:
            continue
        reason = from_flag(flag, severity, where)
        sites = [site for site in recording.logs if site in _list_concerned_sites(flag)]
        for own in [reasons[site] for site in sites] or [common]:
            own.append(reason)
    return Trial(_measure_standing_change(result), reasons, list(dict.fromkeys(common)))


def _list_concerned_sites(flag: RaisedFlag) -> tuple[str, ...]:
    """Sensors that a flag is about: of an exchange both, though it stands at one of them."""
    for side in SIDES:
        if (flag.name, flag.site) == ("segments_swapped", foot_of(side)):
            return foot_of(side), shank_of(side)
    return (flag.site,)


def _cut_around(log: SensorLog, run: Interval, search_s: float) -> SensorLog:
    """The part of a log in which a run and its standing lie."""
    first = int(np.searchsorted(log.time_s, run.start_s - search_s))
    last = int(np.searchsorted(log.time_s, run.end_s + search_s))
    return log.take(slice(first, last))


def _explain_refusal(error: RunError, recording: Recording, where: str) -> Reason:
    """Why the run cannot be processed, in the method's words."""
    text = str(error).removeprefix(f"run {recording.run.id}: ")
    return Reason("unfit", to_sentence(f"{where}, {text}"), "", next(iter(error.flags), None))


def _measure_standing_change(result: Result) -> dict[Site, float]:
    """Angle between gravity in standing before and after the run, by sensor."""
    conditioned = result.conditioned
    out: dict[Site, float] = {}
    for site, segment in conditioned.segments.items():
        calibration: Calibration = segment.calibration
        before, after = (
            _measure_gravity(conditioned.time_s, segment.accel_mps2, part)
            for part in (calibration.still_before, calibration.still_after)
        )
        if before is not None and after is not None:
            out[site] = float(np.arccos(np.clip(before @ after, -1.0, 1.0)))
        if calibration.slip is not None:  # taken out of the signals already
            out[site] = calibration.slip.angle_rad
    return out


def _measure_gravity(
    time_s: FloatArray, accel_mps2: FloatArray, part: Interval | None
) -> FloatArray | None:
    if part is None:
        return None
    inside = (time_s >= part.start_s) & (time_s <= part.end_s)
    mean = np.nanmean(accel_mps2[inside], axis=0)
    return np.asarray(mean / np.linalg.norm(mean))
