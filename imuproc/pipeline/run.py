"""The whole method for one recording, read top to bottom."""

from dataclasses import replace

from imuproc.conditioning.calibration import calibrate
from imuproc.conditioning.pairing import require_paired_legs
from imuproc.conditioning.sanity import check_logs, check_signals
from imuproc.conditioning.timebase import TimeBased, to_common_clock
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import ConditionedRecording, Interval, Recording
from imuproc.core.result import Result
from imuproc.core.sites import is_foot
from imuproc.estimators.sides import side_flags
from imuproc.estimators.upright import upright_zero
from imuproc.events.coarse import coarse_contacts
from imuproc.events.refined import refined_contacts
from imuproc.events.runs import find_runs
from imuproc.events.selection import running_contacts
from imuproc.events.unaided import unaided_contacts
from imuproc.motion.body import prepare_body, solve_motion
from imuproc.motion.settings import MotionSettings
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.table import join_results, make_result


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
    """
    settings = settings or Settings()
    timebased = check_signals(to_common_clock(check_logs(recording), settings.timebase))
    gyro = {site: signals.gyro_radps for site, signals in timebased.sites.items()}
    runs = find_runs(timebased.time_s, timebased.rate_hz, gyro, settings.runs)
    results: list[Result] = []
    refused: list[RunError] = []
    for run in runs:
        try:
            result = _process_run(timebased, run, runs, settings)
        except RunError as error:  # one stretch of a long log does not cost the others
            refused.append(error)
            continue
        if result is not None:
            results.append(result)
    if not results:
        raise _nothing_found(recording, refused)
    joined = join_results(results, recording)
    flags = [RaisedFlag("run_refused", str(error)) for error in refused]
    return replace(joined, flags=(*joined.flags, *flags))


def _nothing_found(recording: Recording, refused: list[RunError]) -> RunError:
    """The error of a recording without any step in the table."""
    if refused:
        return refused[0]
    if set(recording.logs) <= {"pelvis"}:
        return RunError(
            f"run {recording.run.id} has no sensor on a leg; at least one shank or foot is needed"
        )
    return RunError(
        f"no sprint steps found in run {recording.run.id}: check that the logs hold the run and "
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

    A still stretch that cannot have been standing is rejected, and the run processed anew.
    """
    conditioned = calibrate(timebased, run, settings.calibration, rejected, runs)
    require_paired_legs(conditioned, run)
    contacts = running_contacts(coarse_contacts(conditioned, run, settings.coarse))
    if len(contacts) < 3:
        return None
    on_ground = _motion_settings(timebased, settings)
    prepared = prepare_body(conditioned, on_ground)
    feet = {site: segment for site, segment in prepared.items() if is_foot(site)}
    motion = solve_motion(conditioned, feet, contacts, on_ground, uncertainty=False)
    contacts = unaided_contacts(contacts, motion, settings.unaided)
    contacts = refined_contacts(contacts, motion, settings.refine)
    contacts = running_contacts(contacts)
    if len(contacts) < 3:
        return None
    motion = solve_motion(conditioned, prepared, contacts, on_ground)
    if not (upright_zero(motion, contacts) or side_flags(motion, contacts)):
        rejected = (*rejected, *_standing_of(conditioned))
        return _process_run(timebased, run, runs, settings, rejected)
    return make_result(conditioned, contacts, motion, settings)


def _motion_settings(timebased: TimeBased, settings: Settings) -> MotionSettings:
    """On a treadmill the ground itself gains and loses speed from one stance to the next."""
    if timebased.recording.run.surface != "treadmill":
        return settings.motion
    return replace(settings.motion, stride_velocity_sd_mps=settings.motion.belt_velocity_sd_mps)


def _standing_of(conditioned: ConditionedRecording) -> set[Interval]:
    """The still stretches that set the zero; never empty where a segment has one."""
    calibrations = [segment.calibration for segment in conditioned.segments.values()]
    return {part for c in calibrations for part in (c.still_before, c.still_after) if part}
