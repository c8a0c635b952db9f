"""A small session on disk: enough for everything around the method."""

from collections.abc import Sequence
from pathlib import Path

_HEAD = """schema = 1

[session]
id = "harbour-2031-04-12"
date = 2031-04-12
surface = "track"

[layout.field-logger]
format = "delimited"
time = { column = "time_s", unit = "s" }
accel = { columns = ["ax", "ay", "az"], unit = "g", range = 16 }
gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s", range = 2000 }

[[athlete]]
id = "R07"
"""

_RUN = """
[[run]]
id = "{run}"
athlete = "R07"
start = "three-point"
distance_m = 30
layout = "field-logger"
clock = "shared"
logs = {{ left_shank = "logs/{run}_ls.csv" }}
"""


def small_session(folder: Path, runs: Sequence[str] = ("R07-01", "R07-02", "R07-03")) -> Path:
    """Write a session whose logs hold a sensor at rest; returns the session file."""
    (folder / "logs").mkdir(parents=True)
    lines = ["time_s,ax,ay,az,gx,gy,gz"]
    lines += [f"{n / 500.0:.3f},0.0,0.0,1.0,0.1,-0.1,0.0" for n in range(200)]
    for run in runs:
        (folder / "logs" / f"{run}_ls.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    path = folder / "session.toml"
    path.write_text(_HEAD + "".join(_RUN.format(run=run) for run in runs), encoding="utf-8")
    return path
