"""What the sensors of a recording tell together: the runs, standing, names, clocks."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from imuproc.checks.clocks import put_on_one_clock
from imuproc.checks.findings import Clock, Reason, Sampling, reach_verdict
from imuproc.checks.scan import Scan
from imuproc.checks.settings import CheckSettings
from imuproc.checks.signals import make_thinned_recording
from imuproc.checks.trial import try_method
from imuproc.conditioning.sanity import OWN_LOGS, find_same_logs
from imuproc.core.flag_policy import policy_of
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval, Recording
from imuproc.core.sites import Site
from imuproc.events.runs import find_runs


@dataclass(frozen=True, eq=False)
class Together:
    """What was found, by sensor and for all.

    Parameters
    ----------
    runs : tuple of Interval
    clocks : mapping from Site to Clock
    standing_differs_rad : mapping from Site to float
    reasons : mapping from Site to list of Reason
    common : list of Reason
    """

    runs: tuple[Interval, ...] = ()
    clocks: Mapping[Site, Clock] = field(default_factory=dict)
    standing_differs_rad: Mapping[Site, float] = field(default_factory=dict)
    reasons: Mapping[Site, list[Reason]] = field(default_factory=dict)
    common: list[Reason] = field(default_factory=list)


def check_together(
    about: Recording,
    scans: Mapping[Site, Scan],
    samplings: Mapping[Site, Sampling],
    settings: CheckSettings,
) -> Together:
    """Compare the sensors of a recording with each other.

    Parameters
    ----------
    about : Recording
        Who ran and what; its logs do not matter.
    scans : mapping from Site to Scan
        Of the logs that could be read and have usable stamps and signals.
    samplings : mapping from Site to Sampling
    settings : CheckSettings

    Returns
    -------
    Together
    """
    if not scans:
        return Together()
    thinned = make_thinned_recording(about, scans)
    common = [Reason("unfit", f"{told}.", f"{OWN_LOGS}.") for told in find_same_logs(thinned.logs)]
    if about.run.clock == "shared":
        common += _compare_spans(samplings, settings)
    tied = put_on_one_clock(thinned, scans, settings)
    runs = find_runs(tied.tracks, settings.method.runs)
    reasons = {site: list(tied.reasons.get(site, ())) for site in scans}
    differs: Mapping[Site, float] = {}
    if runs and reach_verdict(common) != "not fit":
        trial = try_method(tied.recording, runs[0], settings)
        known = {reason.flag_name for own in tied.reasons.values() for reason in own} - {""}
        common += [reason for reason in trial.common if reason.flag_name not in known]
        differs = trial.standing_differs_rad
        for site, found in trial.reasons.items():
            reasons[site] += found
    return Together(runs, tied.clocks, differs, reasons, common)


def _compare_spans(samplings: Mapping[Site, Sampling], settings: CheckSettings) -> Iterator[Reason]:
    """Logs of one clock that do not lie over each other, or start and end far apart."""
    known = {site: s for site, s in samplings.items() if np.isfinite(s.start_s)}
    if len(known) < 2:
        return
    latest = max(known, key=lambda site: known[site].start_s)
    earliest = min(known, key=lambda site: known[site].end_s)
    start_s, end_s = known[latest].start_s, known[earliest].end_s
    names = f"{latest.replace('_', ' ')} starts at {start_s:.10g} s"
    ends = f"{earliest.replace('_', ' ')} ends at {end_s:.10g} s"
    if start_s >= end_s:
        yield Reason(
            "unfit",
            f"The logs do not overlap in time: {names}, {ends}.",
            "Check that they belong to the same run and share one clock; if each sensor has its "
            'own, state clock = "jump" or "separate".',
        )
        return
    first = min(s.start_s for s in known.values())
    last = max(s.end_s for s in known.values())
    late, early = start_s - first, last - end_s
    if max(late, early) > settings.end_apart_s:
        text = (
            f"{names}, {late:.1f} s after the first"
            if late > early
            else (f"{ends}, {early:.1f} s before the last")
        )
        text = text[:1].upper() + text[1:]
        site = latest if late > early else earliest
        values = {"covered_from_s": known[site].start_s, "covered_to_s": known[site].end_s}
        yield Reason(
            policy_of("partly_covered").check,
            f"{text}.",
            "Start all sensors before the athlete stands still, and stop them after the end.",
            RaisedFlag("partly_covered", values, site),
        )
