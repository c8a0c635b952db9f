"""Recordings from overground runs: three short clips over force plates, set into whole runs.

Source of the data: Goncalves et al. 2021, J Sci Med Sport 24:939-944, the first author's public
teaching repository, and another of the same author (see the README beside the data, which is looked
for in ``../shared/data/overground_markers_force``). Only 0.55 to 0.7 s of each run were measured;
the strides before and after are made up to get there from standing and back, and are not judged.

Run ``python -m scripts.lab.overground`` for a summary.
"""

import sys
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from imuproc.core.recording import Athlete, Recording, Run
from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of
from imuproc.synth.poses import PoseTrack
from imuproc.synth.sensors.ideal import draw_mount
from imuproc.synth.sensors.imperfect import SensorModel, StampModel, sample_log
from imuproc.synth.truth import Truth, compute_angle_curves, derive_truth
from scripts.lab.optical_running import FINE_HZ

FloatArray = NDArray[np.float64]

DATA: Final = Path(__file__).resolve().parents[3] / "shared" / "data" / "overground_markers_force"
CLIPS: Final = ("athlete1", "plates_009A", "plates_009L")
START_STAMP_S: Final = 100.0
"""Stamp of the recording's first instant: logs do not begin at zero."""
MARGIN_S: Final = 0.02
_SIDE: Final[dict[str, Side]] = {"L": "left", "R": "right"}


@dataclass(frozen=True, eq=False)
class Overground:
    """One run: smooth poses, all its contacts, and which of them a plate saw.

    Parameters
    ----------
    clip : str
    tracks : dict from Site to PoseTrack
    contacts : DataFrame
        ``side, touchdown_s, toe_off_s, measured``, on the clock of the poses.
    """

    clip: str
    tracks: dict[Site, PoseTrack]
    contacts: pd.DataFrame


@lru_cache(maxsize=len(CLIPS))
def load_clip(clip: str) -> Overground:
    """Read one run, its poses splined to the fine rate.

    Parameters
    ----------
    clip : str
        One of :data:`CLIPS`.
    """
    with np.load(DATA / f"{clip}_run.npz") as archive:
        data = {name: archive[name] for name in archive.files}
    tracks: dict[Site, PoseTrack] = {}
    for letter, side in _SIDE.items():
        for site, segment in ((shank_of(side), "shank"), (foot_of(side), "foot")):
            tracks[site] = _read_track(data, f"{segment}_{letter}")
    contacts = pd.DataFrame(
        {
            "side": [_SIDE[letter] for letter in data["contact_side"]],
            "touchdown_s": data["contact_td_s"],
            "toe_off_s": data["contact_to_s"],
            "measured": data["contact_measured"],
        }
    ).sort_values("touchdown_s", ignore_index=True)
    return Overground(clip, tracks, contacts)


def _read_track(data: dict[str, FloatArray], name: str) -> PoseTrack:
    time_s = data["time_s"].astype(np.float64)
    fine_s = np.arange(time_s[0], time_s[-1], 1.0 / FINE_HZ)
    quat = data[f"quat_wxyz_{name}"].astype(np.float64)
    flips = np.sign(np.sum(quat[1:] * quat[:-1], axis=1))
    quat = quat * np.cumprod(np.append(1.0, flips))[:, None]
    turn = make_interp_spline(time_s, quat, k=5)(fine_s)[:, [1, 2, 3, 0]]
    place = make_interp_spline(time_s, data[f"pos_m_{name}"].astype(np.float64), k=5)(fine_s)
    return PoseTrack(fine_s, Rotation.from_quat(turn).as_matrix(), place)


def make_recording(
    clip: str, model: SensorModel, rate_hz: float, seed: int
) -> tuple[Recording, Truth]:
    """Four sensor logs of one run, and what the force plates and the poses say.

    Parameters
    ----------
    clip : str
        One of :data:`CLIPS`.
    model : SensorModel
    rate_hz : float
        Sampling rate of the sensors in Hz.
    seed : int
        Of the mounting and the sensors' faults.

    Returns
    -------
    Recording
        Rolling start.
    Truth
        On the clock of the logs; ``valid_from_s`` to ``valid_to_s`` holds the contacts that a
        plate saw (20 N). Step lengths are not in it: the strides around the clip are one stride
        of each foot repeated, in which left and right steps differ by up to 0.3 m.
    """
    run = load_clip(clip)
    curves = compute_angle_curves(run.tracks)
    curves["time_s"] += START_STAMP_S
    events = run.contacts[run.contacts["measured"]].drop(columns="measured")
    before = run.contacts[run.contacts["touchdown_s"] < events["touchdown_s"].min()]
    left_ground = before.groupby("side")["toe_off_s"].last() + START_STAMP_S
    events = events.assign(
        touchdown_s=events["touchdown_s"] + START_STAMP_S,
        toe_off_s=events["toe_off_s"] + START_STAMP_S,
    )
    truth = derive_truth(events, curves, {s: float(left_ground[s]) for s in SIDES})
    truth = Truth(
        truth.steps,
        truth.curves,
        truth.departures_s,
        float(events["touchdown_s"].min()) - MARGIN_S,
        float(events["toe_off_s"].max()) + MARGIN_S,
    )
    stamps = StampModel(rate_hz, start_s=START_STAMP_S)
    logs = {}
    for number, (site, track) in enumerate(run.tracks.items()):
        rng = np.random.default_rng([seed, 2, number])
        logs[site] = sample_log(track, draw_mount(rng, site), site, model, stamps, rng)
    name = clip.replace("_", "-")
    return Recording("overground", Athlete(name), Run(id=name, start="rolling"), logs), truth


def main() -> int:
    """Print the contacts that a plate saw."""
    if not DATA.is_dir():
        print(f"no data in {DATA}", file=sys.stderr)
        return 2
    for clip in CLIPS:
        contacts = load_clip(clip).contacts
        print(contacts[contacts["measured"]].assign(clip=clip).to_string(index=False))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
