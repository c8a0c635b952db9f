"""The whole method for one recording, read top to bottom."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from imuproc.conditioning.axes.pairing import require_paired_legs
from imuproc.conditioning.axes.slip import undo_slips
from imuproc.conditioning.samples.artefacts import name_stuck_axes
from imuproc.conditioning.sanity import check_logs
from imuproc.conditioning.surroundings import find_spans_around
from imuproc.conditioning.timebase import TimeBased
from imuproc.conditioning.usable import drop_missing_sensors
from imuproc.core.contacts import Contacts
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import Motion
from imuproc.core.recording import ConditionedRecording, Interval, Recording
from imuproc.core.result import Result
from imuproc.core.sites import is_lower_leg
from imuproc.estimators.columns import EstimatorSettings
from imuproc.estimators.sides import flag_sides
from imuproc.estimators.upright import is_zero_upright
from imuproc.events.selection import FEWEST_STEPS
from imuproc.motion.slip import find_slips
from imuproc.pipeline.clocks import (
    WrongClockError,
    group_by_clock,
    mark_as_parts,
    require_one_clock,
)
from imuproc.pipeline.joining import drop_samples, join_results, name_results
from imuproc.pipeline.overview import Window, list_windows, look_over
from imuproc.pipeline.settings import Settings, make_usual_settings
from imuproc.pipeline.sources import LogSource, NotingCuts, RecordingSource
from imuproc.pipeline.stages import (
    choose_motion_settings,
    condition_run,
    detect_coarse,
    estimate,
    find_recorded_runs,
    put_on_one_clock,
    refine,
    solve,
)
from imuproc.pipeline.windows import cut_windows, read_short


def process(recording: Recording, settings: Settings | None = None) -> Result:
    """Every step of every run in a recording.

    Parameters
    ----------
    recording : Recording
        As a session's ``recordings()`` or ``read_run()`` gives it.
    settings : Settings, optional
        Defaults when left out.

    Returns
    -------
    Result
        One table over all runs found; runs of a long log are named ``R07-01_1``, ``R07-01_2``, ...

    Raises
    ------
    RunError
        If nothing can be said about the recording; the text says what, where and what to do.

    See Also
    --------
    imuproc.process_session : all runs of a session, with tables, archives and pages.
    imuproc.stages : the same method, stage by stage.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> result.steps.loc[0, ["side", "phase"]].tolist()
    ['left', 'drive']
    """
    settings = settings or make_usual_settings()
    source = RecordingSource(recording, settings.long.piece_samples)
    results: list[Result] = []
    refused: list[RunError] = []
    for found in process_each(source, settings):
        if isinstance(found, Result):
            results.append(found)
        else:
            refused.append(found)
    joined = replace(join_results(results), run=recording.run.id)
    return replace(joined, flags=(*joined.flags, *flag_refusals(refused)))


def process_each(source: LogSource, settings: Settings) -> Iterator[Result | RunError]:
    """Run after run of a recording, each when it is asked for.

    A recording whose logs are longer than ``settings.long`` says is read twice: once to find what
    may be runs, once to work on them, a few at a time; memory does not grow with its length.

    Parameters
    ----------
    source : LogSource
    settings : Settings

    Yields
    ------
    Result or RunError
        In order of time: what a run gave, or why a stretch was refused, which does not cost the
        others. Ids as :func:`process` gives them.

    Raises
    ------
    RunError
        If there is no run with a step in it; then nothing but refusals has been given.
    """
    refused: list[RunError] = []
    steps = False
    noting = NotingCuts(source)
    try:
        for found in _process_groups(noting, settings):
            if isinstance(found, RunError):
                refused.append(found)
            steps |= isinstance(found, Result)
            yield found
    except RunError as error:
        raise noting.name_cut_logs(error) from error
    if not steps:
        raise noting.name_cut_logs(_make_empty_error(source, refused))


def _process_groups(
    source: LogSource, settings: Settings, wrong: WrongClockError | None = None
) -> Iterator[Result | RunError]:
    """All runs, leg by leg or sensor by sensor where clocks do not tell how they lie."""
    groups = group_by_clock(source, settings, wrong)
    for group in groups:
        try:
            found = name_results(_process_stretches(group, settings), group.about.run.id)
            yield from found if len(groups) == 1 else mark_as_parts(found)
        except WrongClockError as error:
            yield from _process_groups(source, settings, error)
        except RunError as error:
            if len(groups) == 1:
                raise
            yield RunError(str(error), error.flags, error.span_s)


def flag_refusals(refused: Iterable[RunError]) -> tuple[RaisedFlag, ...]:
    """A flag on the whole recording for each stretch that was refused."""
    return tuple(
        RaisedFlag("run_refused", {"reason": str(error)}, span_s=error.span_s) for error in refused
    )


def _process_stretches(source: LogSource, settings: Settings) -> Iterator[Result | RunError]:
    whole = read_short(source, settings.long)
    if whole is not None:
        yield from list(_select_runs(whole, settings))  # all of them before a wrong clock is found
        return
    overview = look_over(source, settings.long, settings.runs)
    windows = list_windows(overview, settings.long)
    if not windows:
        _check_beginning(source, settings)
    spans = [window.read for window in windows]
    parts = cut_windows(source, spans, overview.cut_short, settings.long.least_s)
    given = False
    for window in windows:
        for found in _process_window(next(parts), window, settings):
            if isinstance(found, WrongClockError) and not given:
                raise found  # of the log as a whole, as far as can be told
            given |= isinstance(found, Result)
            yield found


def _process_window(
    recording: Recording, window: Window, settings: Settings
) -> Iterator[Result | RunError]:
    """The runs of one part of a long log, let go of as soon as they are done with."""
    try:
        for found in _select_runs(recording, settings, window.own):
            yield found if isinstance(found, RunError) else drop_samples(found)
    except RunError as error:
        span_s = window.read.start_s, window.read.end_s
        where = f"from {span_s[0]:.0f} to {span_s[1]:.0f} s"
        yield RunError(f"{where}: {error}", error.flags, span_s)


def _check_beginning(source: LogSource, settings: Settings) -> None:
    """Where nothing moves like a run, the unit may be wrong: the usual checks tell."""
    logs = {site: next(source.pieces(site)) for site in source.sites}
    put_on_one_clock(check_logs(replace(source.about, logs=logs), settings.sanity), settings)


def _select_runs(
    recording: Recording, settings: Settings, own: Interval | None = None
) -> Iterator[Result | RunError]:
    """The runs of a recording, or those whose middle lies in a part of it."""
    recording = check_logs(recording, settings.sanity)
    timebased, runs = find_recorded_runs(recording, settings)
    given = False
    result: Result | RunError | None
    for run in runs:
        middle_s = 0.5 * (run.start_s + run.end_s)
        if own is not None and not own.start_s <= middle_s < own.end_s:
            continue
        try:
            there = drop_missing_sensors(timebased, run, settings.calibration.tears.missing_share)
            result = _process_run(there, run, runs, settings)
        except WrongClockError as error:
            if own is None:
                raise
            result = WrongClockError(str(error), error.flags, (run.start_s, run.end_s))
        except RunError as error:  # one stretch of a long log does not cost the others
            # Anew: the one caught holds all that was worked on.
            nearest, _ = find_spans_around(run, runs, settings.calibration.standing.search_s)
            reason = name_stuck_axes(str(error), recording, nearest)
            result = RunError(reason, error.flags, (run.start_s, run.end_s))
        if result is not None:
            given = True
            yield result
    nothing = f"no sprint steps found in run {recording.run.id}"
    reason = name_stuck_axes(nothing, recording)
    if own is None and not given and reason != nothing:
        yield RunError(reason)


def _make_empty_error(source: LogSource, refused: list[RunError]) -> RunError:
    """The error of a recording without any step in the table."""
    run_id = source.about.run.id
    if refused:
        return refused[0]
    if not any(map(is_lower_leg, source.sites)):
        return RunError(
            f"run {run_id} has no sensor on a leg; at least one shank or foot is needed"
        )
    return RunError(
        f"no sprint steps found in run {run_id}: check that the logs hold the run and "
        "that their sites and units are right"
    )


def _process_run(
    timebased: TimeBased,
    run: Interval,
    runs: tuple[Interval, ...],
    settings: Settings,
    rejected: tuple[Interval, ...] = (),
) -> Result | None:
    """One of the runs of a recording; None when the stretch holds no sprint steps.

    A still stretch that cannot have been standing is rejected, a sensor that turned on its limb is
    turned back, and the run processed anew.
    """
    ready = condition_run(timebased, run, runs, settings, rejected)
    conditioned = ready.conditioned
    require_paired_legs(conditioned, run, settings.calibration.pairing)
    coarse = detect_coarse(ready, settings)
    if not rejected:
        require_one_clock(conditioned, run, coarse, settings.clocks.lag, settings.alternation)
    contacts = refine(ready, coarse, settings)
    if len(contacts) < FEWEST_STEPS:
        return None
    motion = solve(ready, contacts, settings)
    slips = find_slips(conditioned, motion, contacts, choose_motion_settings(conditioned, settings))
    if slips:
        return _process_run(undo_slips(timebased, slips), run, runs, settings, rejected)
    if not _check_placement(conditioned, motion, contacts, settings.estimators):
        rejected = (*rejected, *_list_standing(conditioned))
        return _process_run(timebased, run, runs, settings, rejected)
    return estimate(ready, contacts, motion, settings)


def _check_placement(
    conditioned: ConditionedRecording,
    motion: Motion,
    contacts: Contacts,
    settings: EstimatorSettings,
) -> bool:
    """Whether it was standing that set the zero, or logs exchanged, which look alike."""
    if is_zero_upright(motion, contacts, settings.upright):
        return True
    return bool(flag_sides(motion, contacts, conditioned.find_measured(), settings.sides))


def _list_standing(conditioned: ConditionedRecording) -> set[Interval]:
    """The still stretches that set the zero; never empty where a segment has one."""
    calibrations = [segment.calibration for segment in conditioned.segments.values()]
    return {part for c in calibrations for part in (c.still_before, c.still_after) if part}
