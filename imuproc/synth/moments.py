"""A run with jumps before and after it, which tie the clocks of separate loggers together."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import SensorLog
from imuproc.core.sites import Site, side_of
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.easing import quintic_step
from imuproc.dsp.rotations import quat_from_matrix, quat_from_rotvec, quat_to_matrix, quat_to_rotvec
from imuproc.synth.course import GRID_HZ
from imuproc.synth.jump import make_jump
from imuproc.synth.poses import PoseTrack
from imuproc.synth.runs import Rig, RunMotion, compute_motion_truth, sample_sensors
from imuproc.synth.sensors.shock import make_skin_track
from imuproc.synth.truth import Truth

FloatArray = NDArray[np.float64]
Tracks = Mapping[Site, PoseTrack]

_STEP_OVER_S: Final = 1.2
_STAND_S: Final = 1.6
_TAP_HZ: Final = 45.0
_TAP_DECAY_S: Final = 0.006
_TAP_G: Final = 8.0


@dataclass(frozen=True, eq=False)
class CommonEvents:
    """A run with moments that all sensors see.

    Parameters
    ----------
    skin : mapping from Site to PoseTrack
        Poses of what carries the sensors.
    run_from_s : float
        Where the run's own clock begins on that of the tracks.
    events_s : tuple of float
        Landings or taps, as they are meant.
    """

    skin: Tracks
    run_from_s: float
    events_s: tuple[float, ...]


def add_jumps(
    motion: RunMotion, before: int, after: int, rng: np.random.Generator, apart_s: float = 0.0
) -> CommonEvents:
    """A run with so many jumps on both feet before and after it.

    Parameters
    ----------
    motion : RunMotion
    before, after : int
    rng : numpy Generator
        Draws the jumps.
    apart_s : float
        SD of the time by which the right leg leads the left one in each jump: two feet do not
        land in the very same instant.

    Returns
    -------
    CommonEvents
    """
    pieces: list[dict[Site, PoseTrack]] = []
    landings: list[float] = []
    length = 0
    run_from_s = 0.0
    landing_s: float | None
    for number in range(before + 1 + after):
        if number == before:
            run_from_s = (length + bool(pieces) * round(_STEP_OVER_S * GRID_HZ)) / GRID_HZ
            piece, landing_s = dict(motion.skin), None
        else:
            piece, landing_s = _make_jump_tracks(motion, rng, apart_s)
        if pieces:
            pieces.append(_step_over(pieces[-1], piece))
            length += round(_STEP_OVER_S * GRID_HZ)
        if landing_s is not None:
            landings.append(length / GRID_HZ + landing_s)
        pieces.append(_move_to_end_of(piece, pieces[-1] if pieces else None))
        length += len(next(iter(piece.values())).time_s)
    return CommonEvents(_join_pieces(pieces), run_from_s, tuple(landings))


def record_common(
    motion: RunMotion, common: CommonEvents, rig: Rig, rng: np.random.Generator
) -> tuple[dict[Site, SensorLog], Truth]:
    """What the sensors log of a run with common moments, and the truth on the first log's clock.

    Parameters
    ----------
    motion : RunMotion
    common : CommonEvents
        Made of that motion.
    rig : Rig
    rng : numpy Generator
        Draws sensor faults and noise.

    Returns
    -------
    logs : dict from Site to SensorLog
    truth : Truth
        Of the run.
    """
    logs = sample_sensors(common.skin, rig, rng)
    first = rig.stamps[next(iter(rig.mounts))]
    stamp_s = float(first.to_stamp_s(np.array([common.run_from_s]))[0])
    return logs, compute_motion_truth(motion).shift_clock(stamp_s)


def add_taps(motion: RunMotion, times_s: tuple[float, ...]) -> CommonEvents:
    """A run in which something hits all sensors at once at given times.

    Parameters
    ----------
    motion : RunMotion
    times_s : tuple of float
        On the run's clock; the athlete should be standing.

    Returns
    -------
    CommonEvents
    """
    size_m = _TAP_G * STANDARD_GRAVITY_MPS2 / (2.0 * np.pi * _TAP_HZ) ** 2
    skin: dict[Site, PoseTrack] = {}
    for site, track in motion.skin.items():
        since = np.maximum(track.time_s[:, None] - np.array(times_s), 0.0)
        onset = 1.0 - np.exp(-((since * _TAP_HZ / 0.25) ** 3))
        wave = onset * np.sin(2.0 * np.pi * _TAP_HZ * since) * np.exp(-since / _TAP_DECAY_S)
        moved = size_m * wave.sum(axis=1)[:, None] * np.array([0.6, 0.2, 1.0])
        skin[site] = PoseTrack(track.time_s, track.rotation, track.position_m + moved)
    return CommonEvents(skin, 0.0, times_s)


def _make_jump_tracks(
    motion: RunMotion, rng: np.random.Generator, apart_s: float
) -> tuple[dict[Site, PoseTrack], float]:
    """Tracks of one jump, and its landing."""
    jump = make_jump(motion.plan, _STAND_S, rng)
    late = round(apart_s * float(rng.standard_normal()) * GRID_HZ)
    strikes = {jump.landing_s: jump.strike_mps}
    tracks = {}
    for site, bone in jump.bones.items():
        track = make_skin_track(bone, strikes, motion.plan, site)
        shift = late if side_of(site) == "left" else 0
        row = np.clip(np.arange(len(track.time_s)) - shift, 0, len(track.time_s) - 1)
        tracks[site] = PoseTrack(track.time_s, track.rotation[row], track.position_m[row])
    return tracks, jump.landing_s


def _find_place(tracks: Tracks, sample: int) -> FloatArray:
    """The point on the ground between the feet."""
    feet = [tracks[site].position_m[sample] for site in ("left_foot", "right_foot")]
    return np.asarray(0.5 * (feet[0] + feet[1]) * np.array([1.0, 1.0, 0.0]))


def _move_to_end_of(tracks: Tracks, before: Tracks | None) -> dict[Site, PoseTrack]:
    """Tracks carried to where the piece before them ended."""
    shift = np.zeros(3) if before is None else _find_place(before, -1) - _find_place(tracks, 0)
    return {
        site: PoseTrack(track.time_s, track.rotation, track.position_m + shift)
        for site, track in tracks.items()
    }


def _step_over(before: Tracks, after: Tracks) -> dict[Site, PoseTrack]:
    """From one way of standing into the next."""
    through = (np.arange(round(_STEP_OVER_S * GRID_HZ)) + 0.5) / (_STEP_OVER_S * GRID_HZ)
    share = quintic_step(np.asarray(through, dtype=np.float64))
    moved = _move_to_end_of(after, before)
    between: dict[Site, PoseTrack] = {}
    for site, track in before.items():
        last, first = track.rotation[-1], moved[site].rotation[0]
        change = quat_to_rotvec(quat_from_matrix(last.T @ first))
        turn = quat_to_matrix(quat_from_rotvec(share[:, None] * change))
        way = moved[site].position_m[0] - track.position_m[-1]
        between[site] = PoseTrack(
            np.arange(len(share)) / GRID_HZ,
            last @ turn,
            track.position_m[-1] + share[:, None] * way,
        )
    return between


def _join_pieces(pieces: list[dict[Site, PoseTrack]]) -> dict[Site, PoseTrack]:
    joined: dict[Site, PoseTrack] = {}
    for site in pieces[0]:
        rotation = np.concatenate([piece[site].rotation for piece in pieces])
        position = np.concatenate([piece[site].position_m for piece in pieces])
        joined[site] = PoseTrack(np.arange(len(rotation)) / GRID_HZ, rotation, position)
    return joined
