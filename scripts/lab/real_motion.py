"""Recordings from real running: optical poses become sensor logs, force plates say when.

The belt is the ground: belt speed times time is added to x, so a foot in stance is at rest. Quiet
standing is put before and after. In between, each foot's own first (and last) strides are played
with an amplitude that rises from 0 to 1 (falls to 0); the amplitude changes in swing only, so that
every stance of the run-up is as much at rest as the real ones. Contacts of the run-up are not in
the truth. Where the amplitude is 1 the motion is the measured one.

Run ``python -m scripts.lab.real_motion`` for a summary.
"""

import argparse
import sys
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from math import pi
from typing import Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from imuproc.core.recording import Athlete, Recording, Run
from imuproc.core.sites import (
    SIDES,
    SITES,
    Side,
    Site,
    foot_of,
    is_foot,
    shank_of,
    side_of,
    thigh_of,
)
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.easing import quintic_step
from imuproc.synth.poses import PoseTrack
from imuproc.synth.sensors.ideal import draw_mount
from imuproc.synth.sensors.imperfect import GRADES, SensorModel, StampModel, sample_log
from imuproc.synth.truth import Truth, compute_angle_curves, derive_truth
from scripts.lab.hips_running import Hips, derive_hips_truth, load_hips
from scripts.lab.optical_running import (
    DATA,
    FINE_HZ,
    Optical,
    RealCase,
    find_force_events,
    list_cases,
    load_case,
    slice_middle,
)

FloatArray = NDArray[np.float64]
Shock = Literal["none", "weak", "strong"]

STAND_BEFORE_S: Final = 3.0
STAND_AFTER_S: Final = 2.0
RAMP_SWINGS: Final = 2
"""Swings of each foot over which the run-up grows to the real motion, and shrinks after it."""
START_STAMP_S: Final = 100.0
"""Stamp of the recording's first instant: logs do not begin at zero."""
_SHOCK_G: Final[Mapping[str, tuple[float, float]]] = {"weak": (3.0, 6.0), "strong": (10.0, 20.0)}
"""Peak axial acceleration of the added touchdown shock, shank and foot. Tibial peaks in running
average 10 to 14 g (Sports Biomech 2020 19:750), the slow part of them included."""
_SHOCK_HZ: Final = 50.0
_SHOCK_DECAY_S: Final = 0.004


def _list_swings(events: pd.DataFrame, side: Side) -> list[tuple[float, float]]:
    """Toe-off and next touchdown of one foot, of every swing with both ends known."""
    own = events[events["side"] == side]
    pairs = list(pairwise(own[["touchdown_s", "toe_off_s"]].to_numpy()))
    stride = float(np.median([b[0] - a[0] for a, b in pairs]))
    return [(a[1], b[0]) for a, b in pairs if b[0] - a[0] < 1.4 * stride]


def _compute_amplitude(time_s: FloatArray, swings: list[tuple[float, float]]) -> FloatArray:
    """Share of the real motion that is played: 0 standing, rising by a step in each swing."""
    up = sum(quintic_step((time_s - a) / (b - a)) for a, b in swings[:RAMP_SWINGS])
    down = sum(quintic_step((time_s - a) / (b - a)) for a, b in swings[-RAMP_SWINGS:])
    return np.asarray((up - down) / RAMP_SWINGS)


def _scale_rotation(
    rotation: FloatArray, stance: NDArray[np.intp], share: FloatArray
) -> FloatArray:
    """Rotation played with an amplitude, from upright standing with the heading of stance."""
    ahead = rotation[stance][:, :, 0].mean(axis=0)
    stand = Rotation.from_euler("z", float(np.arctan2(ahead[1], ahead[0])))
    away = (stand.inv() * Rotation.from_matrix(rotation)).as_rotvec()
    return np.asarray((stand * Rotation.from_rotvec(share[:, None] * away)).as_matrix())


def _play_leg(
    motion: Optical, events: pd.DataFrame, side: Side, share: FloatArray
) -> dict[Site, PoseTrack]:
    """Both segments of a leg on the ground (belt frame), played with an amplitude.

    The ball of the foot is scaled about its place in stance and everything else hangs on it, so
    that the leg stays jointed; where the share is 1 the real motion comes out unchanged.
    """
    foot, shank = motion.tracks[foot_of(side)], motion.tracks[shank_of(side)]
    own = events.loc[events["side"] == side, ["touchdown_s", "toe_off_s"]].to_numpy()
    stance = np.concatenate([np.r_[slice_middle(foot.time_s, *pair)] for pair in own])
    ball = foot.compute_point_m(motion.ball_m[side])
    rest = ball[stance].mean(axis=0)
    # Amplitude a makes a stance foot go back at a * belt speed: that is what the ground adds.
    ground = np.cumsum(share) / FINE_HZ * motion.case.speed_mps
    middle = len(share) // 2
    ground += motion.case.speed_mps * foot.time_s[middle] - ground[middle]
    moved = rest + share[:, None] * (ball - rest)
    moved[:, 0] += ground
    turn = _scale_rotation(foot.rotation, stance, share)
    heel = moved - turn @ motion.ball_m[side]
    apart = shank.position_m - foot.compute_point_m(motion.ankle_m[side])
    ankle = heel + turn @ motion.ankle_m[side] + share[:, None] * apart
    return {
        foot_of(side): PoseTrack(foot.time_s, turn, heel),
        shank_of(side): PoseTrack(
            shank.time_s, _scale_rotation(shank.rotation, stance, share), ankle
        ),
    }


def _add_standing(track: PoseTrack, site: Site, rng: np.random.Generator) -> PoseTrack:
    """Track on the recording's clock (zero at the start of standing), with sway in standing."""
    before, after = int(STAND_BEFORE_S * FINE_HZ), int(STAND_AFTER_S * FINE_HZ)
    rotation = np.concatenate(
        (
            np.repeat(track.rotation[:1], before, axis=0),
            track.rotation,
            np.repeat(track.rotation[-1:], after, axis=0),
        )
    )
    position = np.pad(track.position_m, ((before, after), (0, 0)), mode="edge")
    time_s = np.arange(len(rotation)) / FINE_HZ
    if not is_foot(site):  # the shank sways about the ankle, the foot stands
        standing = 1.0 - quintic_step(time_s - STAND_BEFORE_S + 1.0) * quintic_step(
            time_s[-1] - STAND_AFTER_S + 1.0 - time_s
        )
        phase = rng.uniform(0.0, 2.0 * pi, size=(2, 2))
        slow, fast = (
            np.sin(2 * pi * f * time_s[:, None] + p) for f, p in zip((0.3, 0.8), phase, strict=True)
        )
        sway = np.radians(0.15 * slow + 0.04 * fast) * standing[:, None]
        turn = Rotation.from_rotvec(np.column_stack((0.3 * sway[:, 0], sway[:, 1], 0 * time_s)))
        rotation = (turn * Rotation.from_matrix(rotation)).as_matrix()
    return PoseTrack(time_s, rotation, position)


# --- Touchdown shock -----------------------------------------------------------------------------


def _compute_pulse(time_s: FloatArray) -> FloatArray:
    """Displacement that rings down, with a smooth start, scaled to a peak acceleration of 1."""

    def evaluate_shape(t: FloatArray) -> FloatArray:
        late = np.maximum(t, 0.0)
        envelope = (late / _SHOCK_DECAY_S) ** 3 * np.exp(-late / _SHOCK_DECAY_S)
        return np.asarray(envelope * np.sin(2.0 * pi * _SHOCK_HZ * late))

    fine = np.arange(0.0, 0.1, 1e-5)
    peak = np.abs(np.gradient(np.gradient(evaluate_shape(fine), fine), fine)).max()
    return evaluate_shape(time_s) / float(peak)


def _shake_track(
    track: PoseTrack, axis: FloatArray, times_s: FloatArray, peak_g: float
) -> PoseTrack:
    """Track with a ringing displacement along an axis from each touchdown on (below 2 mm).

    A displacement rather than an acceleration is added, so that signals and pose agree.
    """
    ring = sum((_compute_pulse(track.time_s - t) for t in times_s), start=np.zeros(len(axis)))
    shift = peak_g * STANDARD_GRAVITY_MPS2 * ring[:, None] * axis
    return PoseTrack(track.time_s, track.rotation, track.position_m + shift)


# --- Recording and truth -------------------------------------------------------------------------


def play_tracks(
    motion: Optical, seed: int, hips: Hips | None = None
) -> tuple[dict[Site, PoseTrack], float]:
    """Poses of all segments with standing, run-up, run and slowing.

    Parameters
    ----------
    motion : Optical
    seed : int
        Of the sway in standing.
    hips : Hips, optional
        Thighs and pelvis; left out: feet and shanks alone.

    Returns
    -------
    tracks : dict from Site to PoseTrack
        On a clock that is zero at the start of standing.
    shift_s : float
        That clock minus the clock of the data file.
    """
    rng = np.random.default_rng([seed, 1])
    events = find_force_events(motion, 20.0)
    tracks: dict[Site, PoseTrack] = {}
    for side in SIDES:
        fine_s = motion.tracks[foot_of(side)].time_s
        share = _compute_amplitude(fine_s, _list_swings(events, side))
        for site, track in _play_leg(motion, events, side, share).items():
            tracks[site] = _add_standing(track, site, rng)
    first_s = float(motion.tracks["left_foot"].time_s[0])
    if hips is not None:
        tracks |= _play_hips(motion, hips, events, tracks, rng)
    return {s: tracks[s] for s in SITES if s in tracks}, STAND_BEFORE_S - first_s


def _play_hips(
    motion: Optical,
    hips: Hips,
    events: pd.DataFrame,
    legs: Mapping[Site, PoseTrack],
    rng: np.random.Generator,
) -> dict[Site, PoseTrack]:
    """Thighs hung on the knees of the shanks, and the pelvis, played with an amplitude."""
    out: dict[Site, PoseTrack] = {}
    pelvis = hips.tracks["pelvis"]
    shares = [_compute_amplitude(pelvis.time_s, _list_swings(events, side)) for side in SIDES]
    before = int(STAND_BEFORE_S * FINE_HZ)
    for side, share in zip(SIDES, shares, strict=True):
        thigh, shank = hips.tracks[thigh_of(side)], motion.tracks[shank_of(side)]
        own = events.loc[events["side"] == side, ["touchdown_s", "toe_off_s"]].to_numpy()
        stance = np.concatenate([np.r_[slice_middle(thigh.time_s, *pair)] for pair in own])
        between = np.einsum("nji,nj->ni", shank.rotation, thigh.position_m - shank.position_m)
        knee_m = between.mean(axis=0)
        apart = thigh.position_m - shank.compute_point_m(knee_m)
        played = legs[shank_of(side)].compute_point_m(knee_m)[before : before + len(share)]
        turn = _scale_rotation(thigh.rotation, stance, share)
        track = PoseTrack(thigh.time_s, turn, played + share[:, None] * apart)
        out[thigh_of(side)] = _add_standing(track, thigh_of(side), rng)
    share = 0.5 * (shares[0] + shares[1])
    every = np.arange(len(share))
    rest = pelvis.position_m.mean(axis=0)
    moved = rest + share[:, None] * (pelvis.position_m - rest)
    moved[:, 0] += np.cumsum(share) / FINE_HZ * motion.case.speed_mps
    track = PoseTrack(pelvis.time_s, _scale_rotation(pelvis.rotation, every, share), moved)
    out["pelvis"] = _add_standing(track, "pelvis", rng)
    return out


def _select_real_part(events: pd.DataFrame) -> pd.DataFrame:
    """Contacts after both feet's run-up and before the first foot's slowing."""
    swings = {side: _list_swings(events, side) for side in SIDES}
    begin = max(own[RAMP_SWINGS - 1][1] for own in swings.values())
    end = min(own[-RAMP_SWINGS][0] for own in swings.values())
    keep = (events["touchdown_s"] >= begin - 1e-9) & (events["toe_off_s"] <= end + 1e-9)
    return events[keep].reset_index(drop=True)


def make_recording(
    case: RealCase,
    model: SensorModel,
    rate_hz: float,
    seed: int,
    shock: Shock = "none",
    threshold_n: float = 20.0,
    with_hips: bool = False,
) -> tuple[Recording, Truth]:
    """Sensor logs of one trial, and what the force plate and the markers say.

    Parameters
    ----------
    case : RealCase
    model : SensorModel
    rate_hz : float
        Sampling rate of the sensors in Hz.
    seed : int
        Of the mounting, the sensors' faults and the sway.
    shock : {"none", "weak", "strong"}
        Ringing added at touchdown: optical data carry none.
    threshold_n : float
        Force above local zero that counts as contact, in N.
    with_hips : bool
        Whether thighs and pelvis have sensors too.

    Returns
    -------
    Recording
        Rolling start, as if overground.
    Truth
        On the clock of the logs. ``valid_from_s`` to ``valid_to_s`` is the part that really
        happened; judge only contacts whose touchdown and toe-off lie in it.
    """
    motion = load_case(case)
    hips = load_hips(case) if with_hips else None
    tracks, shift_s = play_tracks(motion, seed, hips)
    shift_s += START_STAMP_S
    curves = compute_angle_curves(tracks)
    curves["time_s"] += START_STAMP_S
    contacts = find_force_events(motion, threshold_n)
    events = _select_real_part(contacts)
    before = contacts[contacts["touchdown_s"] < events["touchdown_s"].iloc[0]]
    departures = before.groupby("side")["toe_off_s"].last() + shift_s
    events[["touchdown_s", "toe_off_s"]] += shift_s
    truth = derive_truth(events, curves, {s: float(departures[s]) for s in SIDES})
    margin_s = 0.02
    steps = truth.steps
    if hips is not None:
        shifted = {site: replace(t, time_s=t.time_s + START_STAMP_S) for site, t in tracks.items()}
        left = {side: float(departures[side]) for side in SIDES}
        steps = steps.assign(**derive_hips_truth(shifted, hips, events, left))
    truth = Truth(
        steps,
        truth.curves,
        truth.departures_s,
        float(events["touchdown_s"].iloc[0]) - margin_s,
        float(events["toe_off_s"].iloc[-1]) + margin_s,
    )
    contacts[["touchdown_s"]] += shift_s - START_STAMP_S
    if shock != "none":
        tracks = _shake_legs(tracks, contacts, shock)
    stamps = StampModel(rate_hz, start_s=START_STAMP_S)
    logs = {}
    for number, (site, track) in enumerate(tracks.items()):
        rng = np.random.default_rng([seed, 2, number])
        logs[site] = sample_log(track, draw_mount(rng, site), site, model, stamps, rng)
    run = Run(id=f"{case.runner}-{case.speed_mps:g}".replace(".", "p"), start="rolling")
    athlete = Athlete(case.runner)
    if hips is not None:
        athlete = replace(athlete, shank_length_m=hips.shank_m, thigh_length_m=hips.thigh_m)
    return Recording("real-motion", athlete, run, logs), truth


def _shake_legs(
    tracks: Mapping[Site, PoseTrack], contacts: pd.DataFrame, shock: Shock
) -> dict[Site, PoseTrack]:
    """All tracks with the shock of their own side, along the shank."""
    out: dict[Site, PoseTrack] = {}
    for site, track in tracks.items():
        side = side_of(site) or "left"
        times = contacts.loc[contacts["side"] == side, "touchdown_s"].to_numpy()
        axis = tracks[shank_of(side)].rotation[:, :, 2]
        out[site] = _shake_track(track, axis, times, _SHOCK_G[shock][int(is_foot(site))])
    return out


def main() -> int:
    """Print one line per trial."""
    if not DATA.is_dir():
        print(f"no data in {DATA}", file=sys.stderr)
        return 2
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--runner", help="only this runner")
    parser.add_argument("--rate", type=float, default=500.0, help="sampling rate in Hz")
    parser.add_argument("--threshold", type=float, default=20.0, help="force threshold in N")
    chosen = parser.parse_args()
    rows = []
    for case in list_cases():
        if chosen.runner in (None, case.runner):
            _, truth = make_recording(
                case, GRADES["mid"], chosen.rate, 1, threshold_n=chosen.threshold
            )
            rows.append(_build_summary_row(case, truth))
    print(pd.DataFrame(rows).to_string(index=False, float_format=lambda x: f"{x:.3f}"))
    return 0


def _build_summary_row(case: RealCase, truth: Truth) -> dict[str, object]:
    motion, steps = load_case(case), truth.steps
    return {
        "runner": case.runner,
        "speed_mps": case.speed_mps,
        "strike": f"{case.strike_left}/{case.strike_right}",
        "steps": len(steps),
        "contact_s": steps["contact_time_s"].mean(),
        "frequency_hz": steps["step_frequency_hz"].mean(),
        "measured_speed_mps": steps["speed_mps"].mean(),
        "shin_deg": steps["shin_angle_touchdown_deg"].mean(),
        "pitch_deg": steps["foot_pitch_touchdown_deg"].mean(),
        "ball_slip_mps": float(np.mean(list(motion.ball_slip_mps.values()))),
        "ankle_rms_mm": 1000.0 * float(np.mean(list(motion.ankle_rms_m.values()))),
    }


if __name__ == "__main__":
    raise SystemExit(main())
