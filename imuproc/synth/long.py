"""A long log: a jump, drills, several runs, and walking back between them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import SensorLog
from imuproc.core.sites import Site, is_lower_leg, side_of
from imuproc.dsp.easing import quintic_step
from imuproc.dsp.rotations import quat_from_matrix, quat_from_rotvec, quat_to_matrix, quat_to_rotvec
from imuproc.synth.course import GRID_HZ
from imuproc.synth.drills import Drill, make_drill
from imuproc.synth.jump import make_jump
from imuproc.synth.legs.pelvis import rotate_zyx
from imuproc.synth.plan import RunPlan
from imuproc.synth.poses import PoseTrack
from imuproc.synth.runs import Rig, compute_motion_truth, make_motion, sample_sensors
from imuproc.synth.sensors.shock import make_skin_track
from imuproc.synth.truth import Truth

FloatArray = NDArray[np.float64]
Tracks = Mapping[Site, PoseTrack]

_TURN_S: Final = 2.2
_TREAD_M: Final = 0.03


@dataclass(frozen=True, eq=False)
class LongMotion:
    """Motion of a long log.

    Parameters
    ----------
    skin : mapping from Site to PoseTrack
        Poses of what carries the sensors.
    truths : tuple of Truth
        One for each run, on the tracks' clock.
    jump_landing_s : float
        Landing of the jump at the beginning.
    drills : tuple of tuples
        Each drill with its first and last instant in s.
    """

    skin: Tracks
    truths: tuple[Truth, ...]
    jump_landing_s: float
    drills: tuple[tuple[Drill, float, float], ...] = ()


@dataclass(frozen=True, eq=False)
class _Joined:
    """Tracks joined so far: poses in the world, and where and how the athlete stands now."""

    rotation: dict[Site, list[FloatArray]]
    position: dict[Site, list[FloatArray]]
    heading_rad: float
    place_m: FloatArray
    end: Tracks
    length: int


def _make_heading_matrix(heading_rad: FloatArray) -> FloatArray:
    zero = np.zeros(len(heading_rad))
    return np.asarray(rotate_zyx(heading_rad, zero, zero))


def _project_pelvis(tracks: Tracks, sample: int) -> FloatArray:
    """Point on the ground under the pelvis, from which a piece is laid on."""
    return np.asarray(tracks["pelvis"].position_m[sample] * np.array([1.0, 1.0, 0.0]))


def _lay_on(joined: _Joined, tracks: Tracks) -> _Joined:
    """Lay a motion on to where the athlete stands."""
    turn = _make_heading_matrix(np.array([joined.heading_rad]))[0]
    start = _project_pelvis(tracks, 0)
    for site, track in tracks.items():
        joined.rotation[site].append(turn @ track.rotation)
        joined.position[site].append(joined.place_m + (track.position_m - start) @ turn.T)
    length = len(tracks["pelvis"].time_s)
    place = joined.place_m + turn @ (_project_pelvis(tracks, -1) - start)
    return replace(joined, place_m=place, end=tracks, length=joined.length + length)


def _turn_round(joined: _Joined, following: Tracks, by_rad: float) -> _Joined:
    """Turn on the spot with some treading, from one standing posture into the next."""
    n = round(_TURN_S * GRID_HZ)
    w = (np.arange(n) + 0.5) / n
    share = quintic_step(w)
    turn = _make_heading_matrix(joined.heading_rad + share * by_rad)
    before, after = _project_pelvis(joined.end, -1), _project_pelvis(following, 0)
    for site, track in joined.end.items():
        last, first = track.rotation[-1], following[site].rotation[0]
        change = quat_to_rotvec(quat_from_matrix(last.T @ first))
        between = quat_to_matrix(quat_from_rotvec(share[:, None] * change))
        arm = (1.0 - share)[:, None] * (track.position_m[-1] - before)
        arm = arm + share[:, None] * (following[site].position_m[0] - after)
        tread = w if side_of(site) == "left" else 1.0 - w
        lifts = _TREAD_M if is_lower_leg(site) else 0.0
        arm[:, 2] += lifts * (quintic_step(tread / 0.2) * quintic_step((0.5 - tread) / 0.2))
        joined.rotation[site].append(turn @ last @ between)
        joined.position[site].append(joined.place_m + np.einsum("nij,nj->ni", turn, arm))
    heading = joined.heading_rad + by_rad
    return replace(joined, heading_rad=heading, end=following, length=joined.length + n)


def plan_walk_back(plan: RunPlan, distance_m: float, seed: int) -> RunPlan:
    """A walk of the same athlete, made like a run that never gets fast.

    Parameters
    ----------
    plan : RunPlan
    distance_m : float
    seed : int

    Returns
    -------
    RunPlan
    """
    return replace(
        plan,
        start="rolling",
        distance_m=distance_m,
        vmax_mps=1.45,
        tau_s=0.6,
        faults=(),
        stand_before_s=1.0,
        stand_after_s=0.6,
        slow_distance_m=0.5,
        walk_steps=0,
        impact="weak",
        curve_radius_m=None,
        seed=seed,
    )


def make_long_motion(
    plans: Sequence[RunPlan], seed: int, drills: Sequence[Drill] = (), drill_s: float = 6.0
) -> LongMotion:
    """A jump, then every run, with walking back between them and drills before them.

    Parameters
    ----------
    plans : sequence of RunPlan
        Runs of one athlete, along the straight.
    seed : int
        Draws the jump, the walks and the drills.
    drills : sequence of Drill
        Done in turn before the runs, shared out among them as evenly as can be.
    drill_s : float
        About how long each of them takes.

    Returns
    -------
    LongMotion

    Raises
    ------
    ValueError
        When there is no run, or one goes around a curve or on a treadmill.
    """
    if not plans or any(plan.curve_radius_m or plan.treadmill for plan in plans):
        raise ValueError("a long log needs one run or more, all of them straight over ground")
    rng = np.random.default_rng([seed, 30])
    jump = make_jump(plans[0], 2.0, rng)
    strikes = {jump.landing_s: jump.strike_mps}
    shaken = {site: make_skin_track(t, strikes, plans[0], site) for site, t in jump.bones.items()}
    empty: dict[Site, list[FloatArray]] = {site: [] for site in shaken}
    joined = _Joined(empty, {site: [] for site in shaken}, 0.0, np.zeros(3), shaken, 0)
    joined = _lay_on(joined, shaken)
    truths, done = [], list[tuple[Drill, float, float]]()
    drawn = np.random.default_rng([seed, 31])
    for number, plan in enumerate(plans):
        run = make_motion(plan)
        for drill in drills[number :: len(plans)]:
            moving = make_drill(plan, drill, drill_s, drawn)
            joined = _turn_round(joined, moving, 0.0)
            start_s = joined.length / GRID_HZ
            joined = _lay_on(joined, moving)
            done.append((drill, start_s, joined.length / GRID_HZ))
        if number:
            way_m = float(np.ptp(joined.end["pelvis"].position_m[:, 0]))
            back = make_motion(
                plan_walk_back(plan, max(way_m - 1.0, 10.0), int(rng.integers(2**31)))
            )
            joined = _lay_on(_turn_round(joined, back.skin, np.pi), back.skin)
            joined = _turn_round(joined, run.skin, -np.pi)
        else:
            joined = _turn_round(joined, run.skin, 0.0)
        truths.append(compute_motion_truth(run).shift_clock(joined.length / GRID_HZ))
        joined = _lay_on(joined, run.skin)
    return LongMotion(_build_tracks(joined), tuple(truths), jump.landing_s, tuple(done))


def _build_tracks(joined: _Joined) -> dict[Site, PoseTrack]:
    time_s = np.arange(joined.length) / GRID_HZ
    return {
        site: PoseTrack(
            time_s, np.concatenate(joined.rotation[site]), np.concatenate(joined.position[site])
        )
        for site in joined.rotation
    }


def record_long(
    motion: LongMotion, rig: Rig, rng: np.random.Generator
) -> tuple[dict[Site, SensorLog], tuple[Truth, ...]]:
    """What the sensors log of a long motion, and each run's truth on the first log's clock.

    Parameters
    ----------
    motion : LongMotion
    rig : Rig
    rng : numpy Generator
        Draws sensor faults and noise.

    Returns
    -------
    logs : dict from Site to SensorLog
    truths : tuple of Truth
    """
    logs = sample_sensors(motion.skin, rig, rng)
    first = rig.stamps[next(iter(rig.mounts))]
    shift_s = first.start_s + first.offset_s
    return logs, tuple(truth.shift_clock(shift_s) for truth in motion.truths)
