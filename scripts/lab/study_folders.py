"""Study folders on disk: sessions of known contacts, what another method saw of them, a study file.

The reference counts from its own start: how its clock stands to the logs' is known here, and kept
from the study file, so that what is found can be held against it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from imuproc.core.recording import Recording
from imuproc.core.units import ACCEL_TO_MPS2, GYRO_TO_RADPS
from imuproc.synth.sensors.imperfect import GRADES
from scripts.lab.optical_running import RealCase
from scripts.lab.real_motion import make_recording

LAYOUT: Final = """[layout.logger]
format = "delimited"
time = {{ column = "time_s", unit = "s" }}
accel = {{ columns = ["ax", "ay", "az"], unit = "g", range = {accel:g} }}
gyro = {{ columns = ["gx", "gy", "gz"], unit = "deg/s", range = {gyro:g} }}
"""
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


def real_session(folder: Path, cases: Sequence[RealCase], rate_hz: float, seed: int) -> list[Seen]:
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
    lines = ['schema = 1\n\n[session]\nid = "plates"\ndate = 2031-04-12\nsurface = "other"\n']
    lines.append(LAYOUT.format(accel=model.accel_range_g, gyro=model.gyro_range_dps))
    lines += [
        f'[[athlete]]\nid = "{runner}"\n' for runner in dict.fromkeys(c.runner for c in cases)
    ]
    rng = np.random.default_rng([seed, 3])
    seen = []
    for case in cases:
        recording, truth = make_recording(case, model, rate_hz, seed, threshold_n=THRESHOLD_N)
        logs = _written_logs(folder, recording)
        lines.append(
            f'[[run]]\nid = "{recording.run.id}"\nathlete = "{case.runner}"\nstart = "rolling"\n'
            f'layout = "logger"\nclock = "shared"\nlogs = {{ {logs} }}\n'
        )
        contacts = truth.steps[["side", "touchdown_s", "toe_off_s"]]
        covers = (truth.valid_from_s, truth.valid_to_s)
        seen.append(Seen(recording.run.id, contacts, covers, float(rng.uniform(-90.0, 90.0))))
    (folder / "session.toml").write_text("\n".join(lines), encoding="utf-8")
    return seen


def _written_logs(folder: Path, recording: Recording) -> str:
    """Write the logs of a run; the content of its ``logs`` table."""
    named = []
    for site, log in recording.logs.items():
        columns = {"time_s": np.round(log.time_s, 5)}
        accel = np.round(log.accel_mps2 / ACCEL_TO_MPS2["g"], 4)
        gyro = np.round(log.gyro_radps / GYRO_TO_RADPS["deg/s"], 2)
        columns |= {f"a{axis}": accel[:, k] for k, axis in enumerate("xyz")}
        columns |= {f"g{axis}": gyro[:, k] for k, axis in enumerate("xyz")}
        name = f"logs/{recording.run.id}_{site}.csv"
        pd.DataFrame(columns).to_csv(folder / name, index=False)
        named.append(f'{site} = "{name}"')
    return ", ".join(named)


def simulated_seen(
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


def study_text(
    seen: Sequence[Seen],
    layout: str,
    results: str = "out",
    keys: Mapping[str, str] | None = None,
) -> str:
    """A study file that holds runs against the references beside it.

    Parameters
    ----------
    seen : sequence of Seen
    layout : str
        Content of the layout's table.
    results : str
        Folder of the results.
    keys : mapping from str to str, optional
        More lines for a run.
    """
    parts = [f'schema = 1\n\n[study]\nid = "against-plates"\n\n[layout.other]\n{layout}\n']
    for one in seen:
        more = (keys or {}).get(one.run, "")
        parts.append(
            f'[[run]]\nid = "{one.run}"\nresults = "{results}"\n'
            f'reference = "references/{one.run}.csv"\nlayout = "other"\n{more}\n'
        )
    return "\n".join(parts)


PLATE_LAYOUT: Final = f"""format = "events"
kind = "force plate"
unit = "s"
frame_rate_hz = {PLATE_HZ:g}
threshold_n = {THRESHOLD_N:g}
columns = {{ side = "foot", touchdown = "on", toe_off = "off" }}
"""


def instant_key(one: Seen, u_s: float, rng: np.random.Generator) -> str:
    """An instant that both saw, known to a standard uncertainty."""
    at = one.covers_s[0] - 1.0
    told = at + one.offset_s + u_s * rng.standard_normal()
    return f"instant = {{ table_s = {at:.4f}, reference_s = {told:.4f}, u_s = {u_s:g} }}"


def coverage_key(one: Seen) -> str:
    """What the reference covers, on its own clock."""
    first, last = (at + one.offset_s for at in one.covers_s)
    return f"covers_s = [{first:.4f}, {last:.4f}]"


VIDEO_LAYOUT: Final = """format = "events"
kind = "video"
unit = "frame"
frame_rate_hz = 240
columns = { side = "foot", touchdown = "on", toe_off = "off" }
"""
