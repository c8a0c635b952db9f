"""Study folders on disk: sessions of known contacts, what another method saw of them, a study file.

The reference counts from its own start: how its clock stands to the logs' is known here, and kept
from the study file, so that what is found can be held against it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from imuproc.core.recording import Recording
from imuproc.core.sites import Site
from imuproc.core.units import ACCEL_TO_MPS2, GYRO_TO_RADPS
from imuproc.files.toml_writing import format_toml
from imuproc.synth.sensors.imperfect import GRADES
from imuproc.synth.session import make_log_layout
from scripts.lab.optical_running import RealCase
from scripts.lab.real_motion import make_recording

PLATE_HZ: Final = 300.0
THRESHOLD_N: Final = 20.0


@dataclass(frozen=True)
class Seen:
    """What the other method saw of one run.

    Parameters
    ----------
    run : str
    contacts : DataFrame
        ``side``, ``touchdown_s``, ``toe_off_s`` on the logs' clock, of the steps that happened.
    covers_s : tuple of (float, float)
        First and last instant that it watched, on the logs' clock.
    offset_s : float
        Its clock minus the logs'.
    """

    run: str
    contacts: pd.DataFrame
    covers_s: tuple[float, float]
    offset_s: float


def write_real_session(
    folder: Path, cases: Sequence[RealCase], rate_hz: float, seed: int
) -> list[Seen]:
    """Write ``session.toml`` and logs of real running on force plates.

    Parameters
    ----------
    folder : Path
        Made when needed.
    cases : sequence of RealCase
    rate_hz : float
        Of the sensors, in Hz.
    seed : int
        Of mounting, sensor errors and the plates' clocks.

    Returns
    -------
    list of Seen
        What the plates saw of each run.
    """
    model = GRADES["mid"]
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([seed, 3])
    seen, runs = [], []
    for case in cases:
        recording, truth = make_recording(case, model, rate_hz, seed, threshold_n=THRESHOLD_N)
        logs = _write_logs(folder, recording)
        runs.append(
            {
                "id": recording.run.id,
                "athlete": case.runner,
                "start": "rolling",
                "layout": "logger",
                "clock": "shared",
                "logs": logs,
            }
        )
        contacts = truth.steps[["side", "touchdown_s", "toe_off_s"]]
        covers = (truth.valid_from_s, truth.valid_to_s)
        seen.append(Seen(recording.run.id, contacts, covers, float(rng.uniform(-90.0, 90.0))))
    content = {
        "schema": 1,
        "session": {"id": "plates", "date": date(2031, 4, 12), "surface": "other"},
        "layout": {"logger": make_log_layout(model.accel_range_g, model.gyro_range_dps)},
        "athlete": [{"id": runner} for runner in dict.fromkeys(case.runner for case in cases)],
        "run": runs,
    }
    (folder / "session.toml").write_text(format_toml(content), encoding="utf-8")
    return seen


def _write_logs(folder: Path, recording: Recording) -> dict[Site, str]:
    """Write the logs of a run; their files by site."""
    named = {}
    for site, log in recording.logs.items():
        columns = {"time_s": np.round(log.time_s, 5)}
        accel = np.round(log.accel_mps2 / ACCEL_TO_MPS2["g"], 4)
        gyro = np.round(log.gyro_radps / GYRO_TO_RADPS["deg/s"], 2)
        columns |= {f"a{axis}": accel[:, k] for k, axis in enumerate("xyz")}
        columns |= {f"g{axis}": gyro[:, k] for k, axis in enumerate("xyz")}
        name = f"logs/{recording.run.id}_{site}.csv"
        pd.DataFrame(columns).to_csv(folder / name, index=False)
        named[site] = name
    return named


def draw_simulated_seen(
    session: Path, runs: Sequence[str], missed: float, rng: np.random.Generator
) -> list[Seen]:
    """What a camera saw of the runs of a made-up session, of which it missed a share.

    Parameters
    ----------
    session : Path
        Folder that ``imuproc simulate`` wrote.
    runs : sequence of str
    missed : float
        Share of the contacts that it has not.
    rng : numpy.random.Generator
    """
    out = []
    for run in runs:
        steps = pd.read_csv(session / "truth" / f"{run}_steps.csv")
        steps = steps[steps["gait"] == "run"]  # it is switched off when the athlete walks
        keep = rng.random(len(steps)) >= missed
        contacts = steps.loc[keep, ["side", "touchdown_s", "toe_off_s"]]
        ends = float(steps["touchdown_s"].iloc[0]), float(np.nanmax(steps["toe_off_s"]))
        covers = (ends[0] - 0.5, ends[1] + 0.5)
        # A film starts with its first frame, not long before the run.
        out.append(Seen(run, contacts, covers, float(rng.uniform(0.5, 3.0)) - covers[0]))
    return out


def write_references(folder: Path, seen: Sequence[Seen], frame_rate_hz: float | None) -> None:
    """Write ``references/<run>.csv`` of each run: side, touchdown, toe-off on its own clock.

    Parameters
    ----------
    folder : Path
    seen : sequence of Seen
    frame_rate_hz : float or None
        Events by frame number at that rate; None for times in s.
    """
    (folder / "references").mkdir(parents=True, exist_ok=True)
    for one in seen:
        table = pd.DataFrame({"foot": one.contacts["side"]})
        for name, column in (("on", "touchdown_s"), ("off", "toe_off_s")):
            time = one.contacts[column] + one.offset_s
            if frame_rate_hz is not None:
                table[name] = np.rint(time * frame_rate_hz).astype("Int64")
            else:
                table[name] = time.round(5)
        table.to_csv(folder / "references" / f"{one.run}.csv", index=False)


def format_study(
    seen: Sequence[Seen],
    layout: Mapping[str, Any],
    keys: Mapping[str, Mapping[str, Any]] | None = None,
) -> str:
    """A study file that holds runs against the references beside it.

    Parameters
    ----------
    seen : sequence of Seen
    layout : mapping
    keys : mapping from str to mapping, optional
        More keys for a run.
    """
    runs = [
        {
            "id": one.run,
            "results": "out",
            "reference": f"references/{one.run}.csv",
            "layout": "other",
            **(keys or {}).get(one.run, {}),
        }
        for one in seen
    ]
    study = {"id": "against-plates"}
    return format_toml({"schema": 1, "study": study, "layout": {"other": layout}, "run": runs})


_CONTACT_COLUMNS: Final = {"side": "foot", "touchdown": "on", "toe_off": "off"}
PLATE_LAYOUT: Final = {
    "format": "events",
    "kind": "force plate",
    "unit": "s",
    "frame_rate_hz": PLATE_HZ,
    "threshold_n": THRESHOLD_N,
    "columns": _CONTACT_COLUMNS,
}
VIDEO_LAYOUT: Final = {
    "format": "events",
    "kind": "video",
    "unit": "frame",
    "frame_rate_hz": 240,
    "columns": _CONTACT_COLUMNS,
}


def draw_instant_key(one: Seen, u_s: float, rng: np.random.Generator) -> dict[str, Any]:
    """An instant that both saw, known to a standard uncertainty."""
    at = one.covers_s[0] - 1.0
    told = at + one.offset_s + u_s * rng.standard_normal()
    instant = {"table_s": round(at, 4), "reference_s": round(float(told), 4), "u_s": u_s}
    return {"instant": instant}


def make_coverage_key(one: Seen) -> dict[str, Any]:
    """What the reference covers, on its own clock."""
    return {"covers_s": [round(at + one.offset_s, 4) for at in one.covers_s]}
