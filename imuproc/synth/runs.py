"""A whole made-up run: recording and exact truth."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.recording import Athlete, Clock, Recording, Run, SensorLog
from imuproc.core.sites import SIDES, SITES, Side, Site, foot_of, shank_of, thigh_of
from imuproc.synth.body_truth import compute_body_curves, derive_body_line
from imuproc.synth.course import Course, make_course
from imuproc.synth.curve import bend_around_curve
from imuproc.synth.legs.body_line import (
    close_hips,
    locate_hip,
    make_thigh_track,
    make_trunk_track,
)
from imuproc.synth.legs.leg import make_leg
from imuproc.synth.legs.pelvis import make_pelvis, make_pelvis_track
from imuproc.synth.plan import RunPlan
from imuproc.synth.poses import PoseTrack
from imuproc.synth.schedule import Schedule, make_schedule
from imuproc.synth.sensors.ideal import Mount, draw_mount
from imuproc.synth.sensors.imperfect import GRADES, SensorModel, StampModel, sample_log
from imuproc.synth.sensors.shock import make_skin_track
from imuproc.synth.stances import Stance
from imuproc.synth.truth import Truth, compute_angle_curves, derive_truth

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RunMotion:
    """Motion of one run, before any sensor.

    Parameters
    ----------
    plan : RunPlan
    course : Course
    schedule : Schedule
    bones : mapping from Site to PoseTrack
        Poses of the segments along a straight run, from which the truth is read.
    skin : mapping from Site to PoseTrack
        Poses in the world of what carries the sensors; around the curve, if there is one, and in
        place on a treadmill.
    """

    plan: RunPlan
    course: Course
    schedule: Schedule
    bones: Mapping[Site, PoseTrack]
    skin: Mapping[Site, PoseTrack]


def make_motion(plan: RunPlan) -> RunMotion:
    """Motion of a run from its plan.

    Parameters
    ----------
    plan : RunPlan

    Returns
    -------
    RunMotion

    Raises
    ------
    ValueError
        When a treadmill is to go around a curve, or a steady run has no rolling start.
    """
    if plan.treadmill and plan.curve_radius_m is not None:
        raise ValueError("a treadmill has no curve")
    if plan.pace == "steady" and plan.start != "rolling":
        raise ValueError(f"a steady run starts rolling, not with start {plan.start!r}")
    course = make_course(plan)
    schedule = make_schedule(plan, course)
    pelvis = make_pelvis(plan, course, schedule)
    legs = {side: make_leg(plan, course, schedule, pelvis, side) for side in SIDES}
    hips = close_hips(make_pelvis_track(pelvis, course), legs, schedule, course, plan.body)
    bones: dict[Site, PoseTrack] = {
        "pelvis": hips,
        "trunk": make_trunk_track(pelvis, hips, course),
    }
    of_both: dict[float, float] = {}
    strikes: dict[Site, Mapping[float, float]] = {"pelvis": of_both, "trunk": of_both}
    pivots: dict[Site, FloatArray] = {"pelvis": hips.position_m, "trunk": hips.position_m}
    for side, leg in legs.items():
        hip_m = locate_hip(hips, plan.body, side)
        thigh = make_thigh_track(leg.shank, hip_m, plan.body, course)
        shocks = _collect_shocks(leg.strikes_mps, schedule.select_side(side))
        of_both.update(shocks)
        for site, track in (
            (shank_of(side), leg.shank),
            (foot_of(side), leg.foot),
            (thigh_of(side), thigh),
        ):
            bones[site], strikes[site], pivots[site] = track, shocks, leg.ball_m
    skin: dict[Site, PoseTrack] = {}
    for site, track in bones.items():
        shaken = make_skin_track(track, strikes[site], plan, site)
        skin[site] = bend_around_curve(shaken, pivots[site], plan.curve_radius_m)
        if plan.treadmill:
            skin[site] = _move_onto_belt(skin[site], course)
    return RunMotion(plan, course, schedule, bones, skin)


def _collect_shocks(
    strikes_mps: Mapping[float, float], stances: tuple[Stance, ...]
) -> dict[float, float]:
    """Speed of each strike by the time at which its shock comes."""
    late = {stance.touchdown_s: stance.ground.shock_late_s for stance in stances}
    return {at_s + late[at_s]: mps for at_s, mps in strikes_mps.items()}


def _move_onto_belt(track: PoseTrack, course: Course) -> PoseTrack:
    """The track seen from beside a belt that goes back as fast as the hips go forward.

    The belt's own gain of speed is in it, which feet at rest on the belt share.
    """
    back = np.outer(course.forward_m, np.array([1.0, 0.0, 0.0]))
    return PoseTrack(track.time_s, track.rotation, track.position_m - back)


def compute_motion_truth(motion: RunMotion) -> Truth:
    """Truth of a run: its own events, and angles read off the poses of the bones.

    Parameters
    ----------
    motion : RunMotion

    Returns
    -------
    Truth
        One row per contact after the start, walking and the last standing contacts included;
        column ``gait`` tells them apart (run, walk, stand). Touchdown and toe-off are first and
        last touch of the sole, not a force threshold. The stretch to be judged holds the running.
    """
    curves = compute_angle_curves(motion.bones)
    contacts = [s for s in motion.schedule.stances if s.kind != "ready"]
    events = pd.DataFrame(
        {
            "side": [s.side for s in contacts],
            "touchdown_s": [s.touchdown_s for s in contacts],
            "toe_off_s": [s.toe_off_s if np.isfinite(s.toe_off_s) else np.nan for s in contacts],
            "ball_x_m": [s.ball_m for s in contacts],
        }
    )
    departures: dict[Side, float] = {
        s.side: s.toe_off_s for s in motion.schedule.stances if s.kind == "ready"
    }
    found = derive_truth(events, curves, departures, motion.plan.body.shank_m)
    body = derive_body_line(events, compute_body_curves(motion.bones, motion.plan.body), departures)
    steps = found.steps.assign(gait=[s.kind for s in contacts], **body)
    running = [s for s in contacts if s.kind == "run"]
    return Truth(
        steps=steps,
        curves=found.curves,
        departures_s=found.departures_s,
        valid_from_s=running[0].touchdown_s - 0.15,
        valid_to_s=running[-1].toe_off_s,
    )


@dataclass(frozen=True, eq=False)
class Rig:
    """The sensors of one athlete.

    Parameters
    ----------
    model : SensorModel
    mounts : mapping from Site to Mount
        Where and how each sensor sits; its order is that of the logs.
    stamps : mapping from Site to StampModel
        Clock of each sensor.
    """

    model: SensorModel
    mounts: Mapping[Site, Mount]
    stamps: Mapping[Site, StampModel]


def make_rig(
    model: SensorModel | str,
    rate_hz: float,
    rng: np.random.Generator,
    sites: tuple[Site, ...] = SITES[:4],
    clock: Clock = "shared",
) -> Rig:
    """Sensors drawn at random: any mounting, some start of the log.

    Parameters
    ----------
    model : SensorModel or str
        Sensors, or the name of a grade in :data:`imuproc.synth.sensors.imperfect.GRADES`.
    rate_hz : float
        Sampling rate in Hz.
    rng : numpy Generator
    sites : tuple of Site
        Where sensors sit.
    clock : {"shared", "jump", "separate"}
        Whether all stamps come from one clock. Otherwise each sensor but the first is off by up
        to an hour, as each logger counts from its own start, and drifts by some 30 ppm.

    Returns
    -------
    Rig
    """
    start_s = float(np.round(rng.uniform(5.0, 500.0), 1))
    stamps: dict[Site, StampModel] = {}
    for number, site in enumerate(sites):
        own = number > 0 and clock != "shared"
        stamps[site] = StampModel(
            rate_hz=rate_hz,
            start_s=start_s,
            offset_s=float(rng.uniform(-3600.0, 3600.0)) if own else 0.0,
            drift_ppm=float(30.0 * rng.standard_normal()) if own else 0.0,
        )
    grade = GRADES[model] if isinstance(model, str) else model
    return Rig(grade, {site: draw_mount(rng, site) for site in sites}, stamps)


def sample_sensors(
    skin: Mapping[Site, PoseTrack], rig: Rig, rng: np.random.Generator
) -> dict[Site, SensorLog]:
    """What the sensors of a rig log of what carries them.

    Parameters
    ----------
    skin : mapping from Site to PoseTrack
    rig : Rig
    rng : numpy Generator
        Draws sensor faults and noise.

    Returns
    -------
    dict from Site to SensorLog
    """
    return {
        site: sample_log(skin[site], mount, site, rig.model, rig.stamps[site], rng)
        for site, mount in rig.mounts.items()
    }


def record_motion(
    motion: RunMotion, rig: Rig, rng: np.random.Generator
) -> tuple[dict[Site, SensorLog], Truth]:
    """What the sensors log of a motion, and the truth on the first log's clock.

    Parameters
    ----------
    motion : RunMotion
    rig : Rig
    rng : numpy Generator
        Draws sensor faults and noise.

    Returns
    -------
    logs : dict from Site to SensorLog
    truth : Truth
    """
    logs = sample_sensors(motion.skin, rig, rng)
    first = rig.stamps[next(iter(rig.mounts))]
    return logs, compute_motion_truth(motion).shift_clock(first.start_s + first.offset_s)


def simulate_run(
    plan: RunPlan,
    model: SensorModel | str,
    rate_hz: float,
    rng: np.random.Generator,
    sites: tuple[Site, ...] = SITES[:4],
) -> tuple[Recording, Truth]:
    """Recording of a made-up run, and what really happened.

    Parameters
    ----------
    plan : RunPlan
        The run; its seed fixes the motion.
    model : SensorModel or str
        Sensors, or the name of a grade in :data:`imuproc.synth.sensors.imperfect.GRADES`.
    rate_hz : float
        Sampling rate in Hz.
    rng : numpy Generator
        Draws mounting, sensor faults and noise.
    sites : tuple of Site
        Where sensors sit.

    Returns
    -------
    recording : Recording
    truth : Truth
        On the clock of the recording.

    Raises
    ------
    ValueError
        As :func:`make_motion`.

    See Also
    --------
    imuproc.synth.plan.draw_plan : what the run is to be like.

    Examples
    --------
    >>> from imuproc.synth.plan import draw_plan
    >>> rng = np.random.default_rng(1)
    >>> recording, truth = simulate_run(draw_plan(rng, "blocks", 10.0), "mid", 250.0, rng)
    >>> sorted(recording.logs), len(truth.steps) > 5
    (['left_foot', 'left_shank', 'right_foot', 'right_shank'], True)
    """
    motion = make_motion(plan)
    return simulate_motion(motion, make_rig(model, rate_hz, rng, sites), rng)


def simulate_motion(
    motion: RunMotion, rig: Rig, rng: np.random.Generator
) -> tuple[Recording, Truth]:
    """Recording of a motion that is already made, and what really happened.

    Parameters
    ----------
    motion : RunMotion
    rig : Rig
    rng : numpy Generator
        Draws sensor faults and noise.

    Returns
    -------
    recording : Recording
        A treadmill's belt speed is stated as the highest that it had.
    truth : Truth
        On the clock of the recording.
    """
    logs, truth = record_motion(motion, rig, rng)
    plan, body = motion.plan, motion.plan.body
    recording = Recording(
        session="simulated",
        athlete=Athlete(
            id="R00",
            stature_m=body.stature_m,
            shank_length_m=body.shank_m,
            thigh_length_m=body.thigh_m,
            foot_length_m=body.foot_m,
        ),
        run=Run(
            id="R00-01",
            start=plan.start,
            distance_m=plan.distance_m,
            curve_radius_m=plan.curve_radius_m,
            surface="treadmill" if plan.treadmill else "track",
            belt_speed_mps=float(motion.course.speed_mps.max()) if plan.treadmill else None,
        ),
        logs=logs,
    )
    return recording, truth
