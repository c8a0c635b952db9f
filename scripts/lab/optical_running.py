"""Optical running with force plates, read into smooth poses and contacts.

Source of the data: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298 (CC BY), figshare
10.6084/m9.figshare.4543435: treadmill running, markers 150 Hz, force 300 Hz. The files are looked
for in ``../shared/data/running_markers_force`` beside the repo.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation, RotationSpline

from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of
from imuproc.dsp.filters import low_pass
from imuproc.dsp.force import find_force_contacts
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

DATA: Final = Path(__file__).resolve().parents[3] / "shared" / "data" / "running_markers_force"
FINE_HZ: Final = 2000.0
CUTOFF_HZ: Final[Mapping[str, float]] = {
    "shank": 25.0,
    "foot": 35.0,
    "thigh": 15.0,
    "pelvis": 12.0,
}
"""Where the spectra of angular rate and velocity of these trials flatten into marker noise:
shank 20 to 30 Hz, foot 30 to 45 Hz. Thigh and pelvis move more slowly, and their skin more
(judgement)."""
MARKER_LAG_S: Final = 0.0067
"""By how much the markers of this set come late against its force, standard uncertainty 2 ms:
4 to 10 ms, from the body's height against the twice-integrated force (9 to 12 ms) and from the
centre of pressure against the forefoot at three belt speeds (2 to 5.5 ms); one marker frame is
6.7 ms. Fixed here, and not fitted again anywhere. Contact time is not touched by it."""
_MIDDLE: Final = (0.3, 0.7)
"""Share of a contact in which the ball of the foot is taken to be at rest."""


@dataclass(frozen=True)
class RealCase:
    """One trial: runner's code of the data set, belt speed, foot-strike type by the authors."""

    runner: str
    speed_mps: float
    strike_left: str
    strike_right: str
    path: Path


@dataclass(frozen=True, eq=False)
class Optical:
    """Smoothed optical motion on the treadmill (lab frame), finely sampled.

    ``force_time_s`` is on the clock of the markers, their lag put right.
    ``ball_m`` and ``ankle_m`` are points of each foot in its own axes; ``ball_slip_mps`` is how
    fast the ball still moves in mid-stance (RMS), ``ankle_rms_m`` how well shank and foot agree
    on the ankle (RMS).
    """

    case: RealCase
    tracks: Mapping[Site, PoseTrack]
    force_time_s: FloatArray
    force_n: FloatArray
    ball_m: Mapping[Side, FloatArray]
    ankle_m: Mapping[Side, FloatArray]
    ball_slip_mps: Mapping[Side, float]
    ankle_rms_m: Mapping[Side, float]


def list_cases() -> list[RealCase]:
    """All trials that lie in the data folder, in order of runner and speed."""
    summary = pd.read_csv(DATA / "summary.csv")
    return [
        RealCase(
            runner=str(row.runner),
            speed_mps=float(row.speed_mps),
            strike_left=str(row.strike_L),
            strike_right=str(row.strike_R),
            path=DATA / f"{row.runner}_{str(row.speed_mps).replace('.', 'p')}ms.npz",
        )
        for row in summary.itertuples()
    ]


def find_plate_events(time_s: FloatArray, force_n: FloatArray, threshold_n: float) -> pd.DataFrame:
    """Touchdown and toe-off where the force crosses a threshold above its local zero.

    As :func:`imuproc.dsp.force.find_force_contacts`; the first and the last whole contact are left
    out, as their outer flights may be cut, and so is a contact whose flights are too short to tell
    the zero.

    Parameters
    ----------
    time_s, force_n : ndarray, shape (n,)
        Vertical force in N.
    threshold_n : float
        In N above local zero.

    Returns
    -------
    DataFrame
        ``touchdown_s, toe_off_s``.
    """
    found = find_force_contacts(time_s, force_n, threshold_n)
    events = pd.DataFrame({"touchdown_s": found.touchdown_s, "toe_off_s": found.toe_off_s})
    return events[1:-1].dropna(ignore_index=True)


def find_force_events(motion: Optical, threshold_n: float) -> pd.DataFrame:
    """Contacts of a trial by the force plate: ``side, touchdown_s, toe_off_s, ball_x_m``.

    The side is that of the foot whose heel and ball are lower in mid-contact; ``ball_x_m`` is
    where the ball stands on the belt in mid-contact.
    """
    events = find_plate_events(motion.force_time_s, motion.force_n, threshold_n)
    height, place = {}, {}
    for side in SIDES:
        track = motion.tracks[foot_of(side)]
        ball = track.compute_point_m(motion.ball_m[side])
        middle = 0.5 * (events["touchdown_s"] + events["toe_off_s"]).to_numpy()
        height[side] = np.interp(middle, track.time_s, ball[:, 2] + track.position_m[:, 2])
        along = ball[:, 0] + motion.case.speed_mps * track.time_s
        place[side] = np.array(
            [along[slice_middle(track.time_s, *e)].mean() for e in events.to_numpy()]
        )
    left = height["left"] < height["right"]
    return events.assign(
        side=np.where(left, "left", "right"), ball_x_m=np.where(left, place["left"], place["right"])
    )


def slice_middle(time_s: FloatArray, touchdown_s: float, toe_off_s: float) -> slice:
    """Samples of the middle of a contact."""
    share = touchdown_s + np.array(_MIDDLE) * (toe_off_s - touchdown_s)
    return slice(*np.searchsorted(time_s, share))


def read_smooth_track(data: Mapping[str, FloatArray], segment: str) -> PoseTrack:
    """Pose of one segment, low-passed (zero phase) and splined to the fine rate."""
    time_s = data["time_s"].astype(np.float64)
    rate_hz = float(data["fs_hz"])
    cutoff_hz = CUTOFF_HZ[segment.split("_")[0]]
    quat = data[f"quat_wxyz_{segment}"].astype(np.float64)
    flips = np.sign(np.sum(quat[1:] * quat[:-1], axis=1))
    quat = low_pass(quat * np.cumprod(np.append(1.0, flips))[:, None], cutoff_hz, rate_hz)
    position = data[f"pos_m_{segment}"].astype(np.float64)
    position = low_pass(position, cutoff_hz, rate_hz)
    fine_s = np.arange(time_s[0], time_s[-1], 1.0 / FINE_HZ)
    turn = RotationSpline(time_s, Rotation.from_quat(quat[:, [1, 2, 3, 0]]))
    return PoseTrack(fine_s, turn(fine_s).as_matrix(), CubicSpline(time_s, position)(fine_s))


@lru_cache(maxsize=4)
def load_case(case: RealCase) -> Optical:
    """Read one trial and find the ball and the ankle of each foot."""
    with np.load(case.path) as archive:
        data = {name: archive[name] for name in archive.files}
    tracks: dict[Site, PoseTrack] = {}
    for side, letter in zip(SIDES, "LR", strict=True):
        tracks[shank_of(side)] = read_smooth_track(data, f"shank_{letter}")
        tracks[foot_of(side)] = read_smooth_track(data, f"foot_{letter}")
    ankle, ankle_rms = {}, {}
    for side in SIDES:
        foot, shank = tracks[foot_of(side)], tracks[shank_of(side)]
        between = np.einsum("nji,nj->ni", foot.rotation, shank.position_m - foot.position_m)
        ankle[side] = between.mean(axis=0)
        ankle_rms[side] = float(np.sqrt(np.mean(np.sum((between - ankle[side]) ** 2, axis=1))))
    draft = Optical(
        case=case,
        tracks=tracks,
        force_time_s=data["force_time_s"].astype(np.float64) + MARKER_LAG_S,
        force_n=data["grf_N"][:, 2].astype(np.float64),
        # Only to tell the sides apart, until the real ball is found.
        ball_m=dict.fromkeys(SIDES, np.array([0.18, 0.0, 0.0])),
        ankle_m=ankle,
        ball_slip_mps={},
        ankle_rms_m=ankle_rms,
    )
    events = find_force_events(draft, 20.0)
    ball, slip = {}, {}
    for side in SIDES:
        own = events[events["side"] == side]
        ball[side], slip[side] = find_pivot(tracks[foot_of(side)], case.speed_mps, own)
    return Optical(case, tracks, draft.force_time_s, draft.force_n, ball, ankle, slip, ankle_rms)


def find_pivot(
    track: PoseTrack, belt_mps: float, contacts: pd.DataFrame
) -> tuple[FloatArray, float]:
    """Point of the foot that is most at rest in mid-stance (foot axes, m) and its RMS speed.

    Least squares of velocity(r) = velocity(heel) + omega x r over all mid-stance samples. The foot
    hardly turns about the axes x and z there, so the sideways place (y) is held to 0.
    """
    velocity = np.gradient(track.position_m, axis=0) * FINE_HZ + np.array([belt_mps, 0.0, 0.0])
    columns = np.gradient(track.rotation, axis=0) * FINE_HZ
    times = contacts[["touchdown_s", "toe_off_s"]].to_numpy()
    rows = np.concatenate([np.r_[slice_middle(track.time_s, *pair)] for pair in times])
    design = columns[rows][:, :, [0, 2]].reshape(-1, 2)
    target = -velocity[rows].reshape(-1)
    found, *_ = np.linalg.lstsq(design, target, rcond=None)
    left = (target - design @ found).reshape(-1, 3)
    return np.array([found[0], 0.0, found[1]]), float(np.sqrt(np.mean(np.sum(left**2, axis=1))))
