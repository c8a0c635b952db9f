"""Session files and small sessions on disk: enough for everything around the method."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from imuproc.core.recording import Recording
from imuproc.core.units import STANDARD_GRAVITY_MPS2

LOG_HEADER = "time_s,ax,ay,az,gx,gy,gz"
LAYOUT = """
[layout.field-logger]
format = "delimited"
time = { column = "time_s", unit = "s" }
accel = { columns = ["ax", "ay", "az"], unit = "g", range = 32 }
gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s", range = 2000 }
"""
SESSION_HEAD = f"""schema = 1

[session]
id = "harbour-2031-04-12"
date = 2031-04-12
surface = "track"
{LAYOUT}
[[athlete]]
id = "R07"
stature_m = 1.74
"""
"""All of a session file but its runs."""


def format_run_entry(run: str, logs: Mapping[str, str], distance_m: int | None = None) -> str:
    """A run of the session file: its logs by site, and its distance where one is stated."""
    named = ", ".join(f'{site} = "{name}"' for site, name in logs.items())
    stated = "" if distance_m is None else f"distance_m = {distance_m}\n"
    return f"""
[[run]]
id = "{run}"
athlete = "R07"
start = "three-point"
{stated}layout = "field-logger"
clock = "shared"
logs = {{ {named} }}
"""


def write_logs(folder: Path, run: str, recording: Recording) -> dict[str, str]:
    """Write the logs of a recording beside a session file; their files by site."""
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    files: dict[str, str] = {}
    for site, log in recording.logs.items():
        accel_g = log.accel_mps2 / STANDARD_GRAVITY_MPS2
        table = np.column_stack((log.time_s, accel_g, np.degrees(log.gyro_radps)))
        files[site] = f"logs/{run}_{site}.csv"
        np.savetxt(folder / files[site], table, "%.6f", ",", header=LOG_HEADER, comments="")
    return files


def write_small_session(folder: Path, runs: Sequence[str] = ("R07-01", "R07-02", "R07-03")) -> Path:
    """Write a session whose logs hold a sensor at rest; returns the session file."""
    (folder / "logs").mkdir(parents=True)
    lines = [LOG_HEADER]
    lines += [f"{n / 500.0:.3f},0.0,0.0,1.0,0.1,-0.1,0.0" for n in range(200)]
    text = SESSION_HEAD
    for run in runs:
        name = f"logs/{run}_ls.csv"
        (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
        text += format_run_entry(run, {"left_shank": name}, 30)
    path = folder / "session.toml"
    path.write_text(text, encoding="utf-8")
    return path
