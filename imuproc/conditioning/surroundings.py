"""The part of a log that belongs to one run: no run's figures hang on what else the log holds."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval


def find_spans_around(
    run: Interval, others: tuple[Interval, ...], search_s: float
) -> tuple[Interval, Interval]:
    """Where to look for the quiet standing of a run.

    Parameters
    ----------
    run : Interval
    others : tuple of Interval
        All runs of the log, in order of time.
    search_s : float
        How far before and after a run to look at most.

    Returns
    -------
    nearest, farthest : Interval
        Up to the neighbouring runs, and beyond them for where nobody stood in between.
    """
    farthest = Interval(run.start_s - search_s, run.end_s + search_s)
    earlier = [other.end_s for other in others if other.end_s <= run.start_s]
    later = [other.start_s for other in others if other.start_s >= run.end_s]
    nearest = Interval(max([farthest.start_s, *earlier[-1:]]), min([farthest.end_s, *later[:1]]))
    return nearest, farthest


def select_flags_of_run(
    flags: Iterable[RaisedFlag], kept: Interval, run: Interval
) -> tuple[RaisedFlag, ...]:
    """Flags of a log that concern a run, each telling of the run's own samples only.

    Parameters
    ----------
    flags : iterable of RaisedFlag
    kept : Interval
        What the run's figures come from: itself with its standing.
    run : Interval
        The run itself.

    Returns
    -------
    tuple of RaisedFlag
    """
    own = []
    for flag in flags:
        span = run if flag.marks is not None and flag.marks.in_running_only else kept
        own.append(flag.cut_to(span.start_s, span.end_s))
    return tuple(flag for flag in own if flag is not None)


def cut_signals(signals: SiteSignals, kept: slice) -> SiteSignals:
    """Some samples of one sensor."""
    hidden = signals.gyro_hidden_radps
    return replace(
        signals,
        accel_mps2=signals.accel_mps2[kept],
        gyro_radps=signals.gyro_radps[kept],
        measured=signals.measured[kept],
        accel_clipped=signals.accel_clipped[kept],
        gyro_clipped=signals.gyro_clipped[kept],
        gyro_hidden_radps=None if hidden is None else hidden[kept],
    )


def cut_recording(timebased: TimeBased, span: Interval) -> TimeBased:
    """Cut a recording to an interval, as views of its signals.

    Parameters
    ----------
    timebased : TimeBased
    span : Interval
        In s, both ends included.

    Returns
    -------
    TimeBased
    """
    first = int(np.searchsorted(timebased.time_s, span.start_s))
    last = int(np.searchsorted(timebased.time_s, span.end_s, side="right"))
    kept = slice(first, last)
    sites = {site: cut_signals(signals, kept) for site, signals in timebased.sites.items()}
    return replace(timebased, time_s=timebased.time_s[kept], sites=sites)
