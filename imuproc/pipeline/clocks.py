"""Recordings whose logs do not share a clock: which sensors can be worked on together."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from imuproc.conditioning.clocks.check import find_clock_faults
from imuproc.conditioning.clocks.grid import thin_log
from imuproc.conditioning.clocks.lag import LagSettings
from imuproc.conditioning.clocks.tying import TiedClocks, tie_clocks
from imuproc.core.contacts import Contacts
from imuproc.core.errors import RunError
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag, Values
from imuproc.core.recording import ConditionedRecording, Interval, Recording, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import Site, is_lower_leg, side_of
from imuproc.events.alternation import AlternationSettings, LegShift, find_leg_shift
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import LogSource, RecordingSource
from imuproc.pipeline.windows import read_short


class WrongClockError(RunError):
    """The logs do not share one clock although the session file says so."""


@dataclass(frozen=True, eq=False)
class TiedSource:
    """Sensors whose clocks are tied together, each log on the clock of the first of them.

    Parameters
    ----------
    source : LogSource
    sites : tuple of Site
        Those of the group.
    tied : TiedClocks
    about : Recording
        The recording without its logs.
    """

    source: LogSource
    sites: tuple[Site, ...]
    tied: TiedClocks
    about: Recording

    def pieces(self, site: Site) -> Iterator[SensorLog]:
        """Successive pieces of a log, stamped by the clock of the group."""
        for piece in self.source.pieces(site):
            yield replace(piece, time_s=self.tied.to_root(site, piece.time_s))


def group_by_clock(
    source: LogSource, settings: Settings, wrong: WrongClockError | None = None
) -> list[LogSource]:
    """Sensors that can be worked on together, group by group.

    Parameters
    ----------
    source : LogSource
    settings : Settings
    wrong : WrongClockError, optional
        What showed that the clock is not shared although it was said to be.

    Returns
    -------
    list of LogSource
        The source itself where the clock is shared. Where all sensors are tied, one source under
        the run's own id; else one for each group, with ``_left``, ``_right`` or the names of its
        sensors after the id. A pelvis by itself is left out.

    Raises
    ------
    RunError
        If the stamps of a log cannot be used.
    """
    clock = "separate" if wrong else source.about.run.clock
    if clock == "shared" or len(source.sites) < 2:
        return [source]
    whole = read_short(source, settings.long)
    if whole is not None:
        source = RecordingSource(whole, settings.long.piece_samples)
    thinned = {site: thin_log(source.pieces(site)) for site in source.sites}
    allowed = settings.clocks.relax_for_wrong_clocks() if wrong else settings.clocks
    tied = tie_clocks(
        thinned, clock == "jump", allowed, settings.timebase.stamps, settings.timebase.range
    )
    groups = [group for group in tied.groups if any(map(is_lower_leg, group))]
    return [_select_group(source, tied, group, groups, wrong) for group in groups]


def mark_as_parts(found: Iterable[Result | RunError]) -> Iterator[Result | RunError]:
    """Results of one group of several: their flags name the run that they are about."""
    for item in found:
        if isinstance(item, RunError):
            yield item
        else:
            yield replace(item, flags=tuple(replace(flag, run=item.run) for flag in item.flags))


def _select_group(
    source: LogSource,
    tied: TiedClocks,
    group: tuple[Site, ...],
    groups: list[tuple[Site, ...]],
    wrong: WrongClockError | None,
) -> TiedSource:
    about = source.about
    untied = tuple(site for site in source.sites if site not in group)
    flags = list(about.flags)
    if wrong is not None:
        flags += wrong.flags
    if untied:
        no_jump = about.run.clock == "jump"
        values: Values = {"no_jump": no_jump, "sites": ";".join(group), "clock_of": group[0]}
        flags.append(RaisedFlag("clock_separate", values))
    run = about.run if len(groups) == 1 else replace(about.run, id=_make_id(about, group, groups))
    about = replace(
        about,
        run=run,
        flags=tuple(flags),
        history=(*about.history, tied.entry),
        clocks=replace(tied.clocks, untied=untied),
    )
    return TiedSource(source, group, tied, about)


def _make_id(about: Recording, group: tuple[Site, ...], groups: list[tuple[Site, ...]]) -> str:
    """The run's id with the leg, or with the sensors where the leg does not tell them apart."""
    sides = [{side_of(site) for site in one} for one in groups]
    own = {side_of(site) for site in group}
    if len(own) == 1 and sum(bool(own & other) for other in sides) == 1:
        return f"{about.run.id}_{next(iter(own))}"
    return f"{about.run.id}_{'-'.join(site.replace('_', '-') for site in group)}"


def require_one_clock(
    conditioned: ConditionedRecording,
    run: Interval,
    contacts: Contacts,
    settings: LagSettings,
    legs: AlternationSettings,
) -> None:
    """Refuse logs that are said to share a clock, or were tied to one, and are not on one here.

    Parameters
    ----------
    conditioned : ConditionedRecording
    run : Interval
    contacts : Contacts
        Coarse contacts of the run.
    settings : LagSettings
        When shank and foot of a leg are apart.
    legs : AlternationSettings
        When the legs are.

    Raises
    ------
    WrongClockError
        If shank and foot of a leg, or the legs, cannot be on one clock although they are said to
        be; the text says by how much.
    RunError
        If they were tied and are apart all the same, as after a jump of one clock.
    """
    faults = find_clock_faults(conditioned, run, settings)
    shift = find_leg_shift(contacts, legs)
    if shift is not None and abs(shift.shift_s) > 2.0 * _get_legs_u_s(conditioned, run):
        faults.append(_make_shift_flag(shift, run))
    if not faults:
        return
    told = "; ".join(describe_flag(fault) for fault in faults)
    if conditioned.recording.clocks.shared:
        raise WrongClockError(
            f"the logs do not share one clock: {told}. Check how the loggers are synchronised, or "
            'state clock = "jump" or "separate"',
            tuple(faults),
        )
    raise RunError(
        f"the logs are not on one clock after they were tied: {told}. Where a logger's clock "
        "jumped, split the logs there",
        tuple(faults),
        (run.start_s, run.end_s),
    )


def _make_shift_flag(shift: LegShift, run: Interval) -> RaisedFlag:
    span_s = run.start_s, run.end_s
    if shift.strides:
        return RaisedFlag("clock_differs", {"strides": abs(shift.strides)}, span_s=span_s)
    found = {"off_pct": 100.0 * shift.off_share, "late_s": shift.shift_s}
    return RaisedFlag("clock_differs", found, span_s=span_s)


def _get_legs_u_s(conditioned: ConditionedRecording, run: Interval) -> float:
    """How well the legs are known against each other; 0 on a shared clock."""
    clocks = conditioned.recording.clocks
    heads = {side_of(site): site for site in conditioned.segments if is_lower_leg(site)}
    middle_s = np.array([0.5 * (run.start_s + run.end_s)])
    return max(
        float(clocks.compute_u_s(a, b, middle_s)[0]) for a in heads.values() for b in heads.values()
    )
