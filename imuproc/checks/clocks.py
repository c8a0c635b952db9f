"""Clocks of a recording's sensors against each other, by what they saw in common."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import hypot
from typing import Final

import numpy as np

from imuproc.checks.findings import Clock, Reason
from imuproc.checks.scan import Scan
from imuproc.checks.settings import CheckSettings
from imuproc.conditioning.clocks.tying import TiedClocks, tie_clocks
from imuproc.core.clocks import ClockTie
from imuproc.core.errors import RunError
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import policy_of
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site
from imuproc.events.progress import Track

_SECONDS_FROM_S: Final = 10.0
"""From here on nobody wants milliseconds."""


@dataclass(frozen=True, eq=False)
class Tied:
    """Sensors on one clock as far as they could be tied to the first of them.

    Parameters
    ----------
    recording : Recording
        Thinned logs of those sensors, on its clock.
    tracks : mapping from Site to sequence of Track
        All of their signals on it.
    clocks : mapping from Site to Clock
        Of all sensors.
    reasons : mapping from Site to list of Reason
    """

    recording: Recording
    tracks: Mapping[Site, Sequence[Track]]
    clocks: Mapping[Site, Clock] = field(default_factory=dict)
    reasons: Mapping[Site, list[Reason]] = field(default_factory=dict)


def put_on_one_clock(
    thinned: Recording, scans: Mapping[Site, Scan], settings: CheckSettings
) -> Tied:
    """Compare the clocks, and put the sensors on one where they have their own.

    Parameters
    ----------
    thinned : Recording
    scans : mapping from Site to Scan
    settings : CheckSettings

    Returns
    -------
    Tied
        Where one clock is claimed for all, stamps are left as they are, and a claim that cannot be
        true is a reason.
    """
    claimed = thinned.run.clock
    tracks = {site: scans[site].tracks for site in thinned.logs}
    compared = thinned.logs
    if claimed == "shared":
        at_s = _find_liveliest_s(next(iter(compared.values())))
        compared = {
            site: _cut_around(log, at_s, settings.compared_s) for site, log in compared.items()
        }
    try:
        method = settings.method
        allowed = (method.clocks, method.timebase.stamps, method.timebase.range)
        found = tie_clocks(compared, claimed != "separate", *allowed)
    except RunError:  # said of the log itself
        found = TiedClocks(tuple(thinned.logs), {})
    clocks = {site: _to_clock(found.own.get(site)) for site in thinned.logs}
    if claimed == "shared":
        reasons = {
            site: [_explain_different_clock(site, tie)]
            for site, tie in found.own.items()
            if _is_different(tie, settings)
        }
        return Tied(thinned, tracks, clocks, reasons)
    group = found.groups[0]
    logs = {
        site: replace(log, time_s=found.to_root(site, log.time_s))
        for site, log in thinned.logs.items()
        if site in group
    }
    moved = {
        site: [replace(t, time_s=found.to_root(site, t.time_s)) for t in tracks[site]]
        for site in group
    }
    run = replace(thinned.run, clock="shared")
    reasons = {
        site: [_explain_untied_clock(site, group)] for site in thinned.logs if site not in group
    }
    return Tied(replace(thinned, logs=logs, run=run), moved, clocks, reasons)


def _find_liveliest_s(log: SensorLog) -> float:
    """When a sensor turns fastest."""
    return float(log.time_s[np.argmax(np.nan_to_num(np.abs(log.gyro_radps)).sum(axis=1))])


def _cut_around(log: SensorLog, at_s: float, most_s: float) -> SensorLog:
    """The part of a long log around an instant: clocks that are one are so everywhere."""
    kept = np.abs(log.time_s - at_s) <= 0.5 * most_s
    if log.time_s[-1] - log.time_s[0] <= most_s or np.count_nonzero(kept) < 2:
        return log
    return log.take(kept)


def _to_clock(tie: ClockTie | None) -> Clock:
    if tie is None:
        return Clock()
    return Clock(
        against=tie.to,
        offset_s=tie.offset_s,
        offset_u_s=tie.offset_u_s,
        drift_ppm=tie.drift_ppm,
        drift_u_ppm=tie.drift_u_ppm,
        basis=tie.basis,
    )


def _is_different(tie: ClockTie, settings: CheckSettings) -> bool:
    """Whether two clocks that are said to be one surely are not."""
    by_offset = abs(tie.offset_s) > hypot(
        settings.clock_offset_s, settings.clock_sureness * tie.offset_u_s
    )
    by_drift = abs(tie.drift_ppm) > hypot(
        settings.clock_drift_ppm, settings.clock_sureness * tie.drift_u_ppm
    )
    return by_offset or by_drift


def _explain_different_clock(site: Site, tie: ClockTie) -> Reason:
    offset = f"{tie.offset_s:+.1f} s"
    if abs(tie.offset_s) < _SECONDS_FROM_S:
        offset = f"{1e3 * tie.offset_s:+.0f} ms (± {1e3 * tie.offset_u_s:.1f} ms)"
    text = f"Its clock is not that of {tie.to.replace('_', ' ')}: {offset}"
    if abs(tie.drift_ppm) > 2.0 * tie.drift_u_ppm:
        text += f", drifting by {tie.drift_ppm:+.0f} ppm"
    text += f"; read from {tie.basis}."
    advice = 'Synchronise the sensors, or state clock = "jump" and have the athlete jump.'
    values = {"other": tie.to, "off_s": tie.offset_s, "off_u_s": tie.offset_u_s}
    drift = {"drift_ppm": tie.drift_ppm, "drift_u_ppm": tie.drift_u_ppm}
    untrue = RaisedFlag("clock_differs", {**values, **drift}, site)
    return Reason(policy_of(untrue.name).check, text, advice, untrue)


def _explain_untied_clock(site: Site, group: Sequence[Site]) -> Reason:
    names = ", ".join(other.replace("_", " ") for other in group)
    text = f"Nothing ties its clock to that of {names}."
    alone = RaisedFlag("clock_separate", {"others": ";".join(group)}, site)
    return Reason(policy_of(alone.name).check, text, FLAGS[alone.name].advice, alone)
