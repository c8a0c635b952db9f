"""Thighs and pelvis of the optical running of :mod:`scripts.lab.optical_running`.

Their poses are played from standing and back as shank and foot are. The trunk has no markers there.
Known of these data: thigh and knee 2 to 3 deg, pelvis tilt 2 to 3 deg, obliquity and drop no better
than 3 to 4 deg (skin; README of the shared data).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.sites import SIDES, Side, Site, shank_of, thigh_of
from imuproc.synth.body_truth import BodyCurves, derive_body_line
from imuproc.synth.poses import PoseTrack
from scripts.lab.optical_running import RealCase, read_smooth_track

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Hips:
    """Smoothed poses on the treadmill (lab frame), and what they are made of.

    Parameters
    ----------
    tracks : mapping from Site to PoseTrack
        Thighs (origin at the knee, upward axis to the hip) and pelvis (midway between the hips).
    hip_m : mapping from Side to ndarray, shape (3,)
        Centre of each hip in the axes of the pelvis.
    thigh_m, shank_m : float
        Mean lengths of both legs.
    """

    tracks: Mapping[Site, PoseTrack]
    hip_m: Mapping[Side, FloatArray]
    thigh_m: float
    shank_m: float


def load_hips(case: RealCase) -> Hips:
    """Read thighs and pelvis of one trial."""
    path = case.path.with_name(case.path.stem + "_hips.npz")
    with np.load(path) as archive:
        data = {name: archive[name] for name in archive.files}
    tracks: dict[Site, PoseTrack] = {"pelvis": read_smooth_track(data, "pelvis")}
    for side, letter in zip(SIDES, "LR", strict=True):
        tracks[thigh_of(side)] = read_smooth_track(data, f"thigh_{letter}")
    return Hips(
        tracks,
        {s: data[f"hip_in_pelvis_m_{c}"].astype(float) for s, c in zip(SIDES, "LR", strict=True)},
        float(np.mean([data[f"thigh_length_m_{c}"] for c in "LR"])),
        float(np.mean([data[f"shank_length_m_{c}"] for c in "LR"])),
    )


def derive_hips_truth(
    tracks: Mapping[Site, PoseTrack],
    hips: Hips,
    events: pd.DataFrame,
    departures_s: Mapping[Side, float],
) -> dict[str, FloatArray]:
    """Figures of the body line from poses that were played.

    Parameters
    ----------
    tracks : mapping from Site to PoseTrack
        Played, upright in standing.
    hips : Hips
    events : DataFrame
        On the clock of the tracks.
    departures_s : mapping from Side to float
    """
    pelvis = tracks["pelvis"]
    thigh = {side: _measure_lean_deg(tracks[thigh_of(side)]) for side in SIDES}
    shin = {side: _measure_lean_deg(tracks[shank_of(side)]) for side in SIDES}
    ahead: dict[Side, FloatArray] = {}
    for side in SIDES:
        up = tracks[thigh_of(side)].rotation[:, 0, 2] * hips.thigh_m
        ahead[side] = -up - tracks[shank_of(side)].rotation[:, 0, 2] * hips.shank_m
    left = pelvis.rotation @ (hips.hip_m["left"] - hips.hip_m["right"])
    curves = BodyCurves(
        time_s=pelvis.time_s,
        thigh_deg=thigh,
        knee_deg={side: thigh[side] - shin[side] for side in SIDES},
        ahead_m=ahead,
        height_m={},
        shin_deg=shin,
        tilt_deg=-_measure_lean_deg(pelvis),
        left_up_deg=np.degrees(np.arcsin(left[:, 2] / np.linalg.norm(left, axis=1))),
        turn_deg=np.degrees(np.arctan2(-left[:, 0], left[:, 1])),
    )
    return derive_body_line(events, curves, departures_s)


def _measure_lean_deg(track: PoseTrack) -> FloatArray:
    """Lean of the upward axis back from the vertical in the X-Z plane, in deg."""
    up = track.rotation[:, :, 2]
    return np.asarray(np.degrees(np.unwrap(np.arctan2(up[:, 2], up[:, 0]))) - 90.0)
