"""The stages of the method, one after the other, for those who want to look between them.

``condition`` -> ``detect`` -> ``solve`` -> ``estimate``: what :func:`imuproc.process` does to each
run, but for going back where a still stretch was no standing or a sensor slipped.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from imuproc.conditioning.axes.calibration import calibrate
from imuproc.conditioning.sanity import check_logs, check_signals
from imuproc.conditioning.timebase import TimeBased, to_common_clock
from imuproc.conditioning.usable import drop_missing_sensors
from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.core.recording import ConditionedRecording, Interval, Recording
from imuproc.core.result import Result
from imuproc.core.sites import Site, is_foot
from imuproc.events.coarse import find_coarse_contacts
from imuproc.events.progress import Track
from imuproc.events.refined import refine_contacts
from imuproc.events.runs import find_runs
from imuproc.events.selection import FEWEST_STEPS, select_running_contacts
from imuproc.events.unaided import find_unaided_contacts
from imuproc.motion.body import prepare_body, solve_motion
from imuproc.motion.prepared import Prepared
from imuproc.motion.settings import MotionSettings
from imuproc.pipeline.settings import Settings, make_usual_settings
from imuproc.pipeline.table import make_result


@dataclass(frozen=True, eq=False)
class ConditionedRun:
    """One run, ready to be worked on.

    Parameters
    ----------
    conditioned : ConditionedRecording
        Signals of the run and of the quiet standing around it, in segment axes.
    interval : Interval
        The run itself on that clock, in s.
    integrated : mapping from Site to Prepared
        Each segment's angular velocity integrated from standing to standing.
    """

    conditioned: ConditionedRecording
    interval: Interval
    integrated: Mapping[Site, Prepared]


def condition(recording: Recording, settings: Settings | None = None) -> tuple[ConditionedRun, ...]:
    """Every run of a recording on one regular clock, in segment axes.

    Parameters
    ----------
    recording : Recording
        Short enough to be held in memory as a whole, its logs on one clock.
    settings : Settings, optional

    Returns
    -------
    tuple of ConditionedRun
        In order of time; empty where nothing moves like a run.

    Raises
    ------
    RunError
        If the logs are not what they claim to be, or no sensor can be used.

    See Also
    --------
    detect : the next stage.

    Examples
    --------
    >>> from imuproc import read_session, stages
    >>> session = read_session("data_samples/session.toml")
    >>> (run,) = stages.condition(session.read_run("R07-01"))
    >>> contacts = stages.detect(run)
    >>> motion = stages.solve(run, contacts)
    >>> result = stages.estimate(run, contacts, motion)
    >>> len(contacts), len(result.steps)
    (20, 20)
    """
    settings = settings or make_usual_settings()
    timebased, runs = find_recorded_runs(check_logs(recording, settings.sanity), settings)
    share = settings.calibration.tears.missing_share
    return tuple(
        condition_run(drop_missing_sensors(timebased, run, share), run, runs, settings)
        for run in runs
    )


def find_recorded_runs(
    recording: Recording, settings: Settings
) -> tuple[TimeBased, tuple[Interval, ...]]:
    """All sensors of a recording on one regular clock, and the runs on it.

    Parameters
    ----------
    recording : Recording
        As :func:`imuproc.conditioning.sanity.check_logs` gives it.
    settings : Settings

    Returns
    -------
    TimeBased
        Signals in sensor axes.
    tuple of Interval
        In s on that clock.

    Raises
    ------
    RunError
        If the logs are not what they claim to be.
    """
    timebased = put_on_one_clock(recording, settings)
    tracks = {
        site: [Track(timebased.time_s, timebased.rate_hz, signals.gyro_radps, signals.accel_mps2)]
        for site, signals in timebased.sites.items()
    }
    return timebased, find_runs(tracks, settings.runs)


def put_on_one_clock(recording: Recording, settings: Settings) -> TimeBased:
    """All logs on one regular clock, their signals checked.

    Parameters
    ----------
    recording : Recording
        As :func:`imuproc.conditioning.sanity.check_logs` gives it.
    settings : Settings

    Returns
    -------
    TimeBased

    Raises
    ------
    RunError
        If the signals are not what they claim to be.
    """
    unseen_radps = settings.motion.missing_gyro_sd_radps
    based = to_common_clock(recording, settings.timebase, unseen_radps)
    return check_signals(based, settings.sanity, settings.runs.fastest_limb_radps)


def condition_run(
    timebased: TimeBased,
    run: Interval,
    runs: tuple[Interval, ...],
    settings: Settings,
    rejected: tuple[Interval, ...] = (),
) -> ConditionedRun:
    """One run in segment axes, its segments integrated.

    Parameters
    ----------
    timebased : TimeBased
        With the sensors that can be used in this run.
    run : Interval
    runs : tuple of Interval
        All runs of the recording.
    settings : Settings
    rejected : tuple of Interval
        Still stretches that were not standing.

    Returns
    -------
    ConditionedRun

    Raises
    ------
    RunError
        If no sensor can be used.
    """
    conditioned = calibrate(timebased, run, settings.calibration, rejected, runs)
    on_ground = choose_motion_settings(conditioned, settings)
    return ConditionedRun(conditioned, run, prepare_body(conditioned, on_ground))


def detect(run: ConditionedRun, settings: Settings | None = None) -> Contacts:
    """Touchdown and toe-off of every step of a run.

    Parameters
    ----------
    run : ConditionedRun
    settings : Settings, optional

    Returns
    -------
    Contacts
        With their evidence; what all of them share in uncertainty is in the evidence, too.

    See Also
    --------
    condition, solve : the stages before and after.
    """
    settings = settings or make_usual_settings()
    return refine(run, detect_coarse(run, settings), settings)


def detect_coarse(run: ConditionedRun, settings: Settings) -> Contacts:
    """All contacts of the legs from signals alone, those of walking included.

    Parameters
    ----------
    run : ConditionedRun
    settings : Settings

    Returns
    -------
    Contacts
    """
    ankle_m, fusion = settings.runs.progress.ankle_m, settings.fusion
    stages = (settings.coarse, settings.unaided, fusion)
    return find_coarse_contacts(run.conditioned, run.interval, *stages, ankle_m)


def refine(run: ConditionedRun, coarse: Contacts, settings: Settings) -> Contacts:
    """Contacts of running, to a few milliseconds.

    Parameters
    ----------
    run : ConditionedRun
    coarse : Contacts
    settings : Settings

    Returns
    -------
    Contacts
        As they come where they are fewer than :data:`FEWEST_STEPS`.
    """
    contacts = select_running_contacts(coarse, settings.selection)
    if len(contacts) < FEWEST_STEPS:
        return contacts
    on_ground = choose_motion_settings(run.conditioned, settings)
    feet = {site: segment for site, segment in run.integrated.items() if is_foot(site)}
    ankle_m, fusion = settings.runs.progress.ankle_m, settings.fusion
    motion = solve_motion(run.conditioned, feet, contacts, on_ground, ankle_m, uncertainty=False)
    sample_s = 1.0 / run.conditioned.rate_hz
    unaided = find_unaided_contacts(contacts, sample_s, settings.unaided, fusion)
    refined = refine_contacts(unaided, motion, settings.refine, fusion)
    return select_running_contacts(refined, settings.selection)


def solve(run: ConditionedRun, contacts: Contacts, settings: Settings | None = None) -> Motion:
    """Orientation and velocity of every segment, free of drift.

    Parameters
    ----------
    run : ConditionedRun
    contacts : Contacts
    settings : Settings, optional

    Returns
    -------
    Motion
        World axes: X along the run, Y to the left, Z up.

    See Also
    --------
    detect, estimate : the stages before and after.
    """
    settings = settings or make_usual_settings()
    on_ground = choose_motion_settings(run.conditioned, settings)
    ankle_m = settings.runs.progress.ankle_m
    return solve_motion(run.conditioned, run.integrated, contacts, on_ground, ankle_m)


def estimate(
    run: ConditionedRun, contacts: Contacts, motion: Motion, settings: Settings | None = None
) -> Result:
    """Step table, curves and flags of a run.

    Parameters
    ----------
    run : ConditionedRun
    contacts : Contacts
    motion : Motion
    settings : Settings, optional

    Returns
    -------
    Result

    See Also
    --------
    solve : the stage before.
    """
    return make_result(run.conditioned, contacts, motion, settings or make_usual_settings())


def choose_motion_settings(conditioned: ConditionedRecording, settings: Settings) -> MotionSettings:
    """Settings of the motion on what was run on.

    Parameters
    ----------
    conditioned : ConditionedRecording
    settings : Settings

    Returns
    -------
    MotionSettings
        On a treadmill the ground itself gains and loses speed from one stance to the next.
    """
    if conditioned.recording.run.surface != "treadmill":
        return settings.motion
    on_belt = {"stride_velocity_sd_mps": settings.motion.belt_velocity_sd_mps}
    return settings.motion.model_copy(update=on_belt)
