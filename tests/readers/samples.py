"""Session files and logs that the tests write."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imuproc.core.errors import LogError
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import read_log
from imuproc.readers.logs.request import LogRequest

NAMES = ("time_s", "ax", "ay", "az", "gx", "gy", "gz")

SESSION = """\
schema = 1

[session]
id = "harbour-2031-04-12"
date = 2031-04-12
surface = "track"
latitude_deg = 45.0
note = "wind still"

[layout.field-logger]
format = "delimited"
time = { column = "time_s", unit = "s" }
accel = { columns = ["ax", "ay", "az"], unit = "g", range = 16 }
gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s", range = 2000 }

[[athlete]]
id = "R07"
stature_m = 1.74
shank_length_m = 0.41
foot_length_m = 0.26
standing_lean_deg = 2.5
birth_year = 2009
group = "sprint-a"
targets = "junior"
note = "left-footed"

[[athlete]]
id = "R08"

[[run]]
id = "R07-01"
athlete = "R07"
start = "three-point"
distance_m = 30
layout = "field-logger"
clock = "shared"
note = "first of the day"
curve_radius_m = 36.5
logs = { right_foot = "logs/1_rf.csv", left_shank = { file = "logs/1_ls.csv" } }

[[run]]
id = "R08-01"
athlete = "R08"
start = "blocks"
layout = "field-logger"
clock = "separate"
logs = { left_foot = "logs/2_lf.csv" }
"""

LAYOUT: dict[str, Any] = {
    "time": {"column": "time_s", "unit": "s"},
    "accel": {"columns": ["ax", "ay", "az"], "unit": "g", "range": 16},
    "gyro": {"columns": ["gx", "gy", "gz"], "unit": "deg/s", "range": 2000},
}
NUMBERED: dict[str, Any] = {
    "time": {"column": 1, "unit": "s"},
    "accel": {"columns": [2, 3, 4], "unit": "g"},
    "gyro": {"columns": [5, 6, 7], "unit": "deg/s"},
}


def layout(base: dict[str, Any] = LAYOUT, /, **changes: Any) -> Layout:
    """The usual layout with some keys changed; None takes a key away."""
    content = {**base, **changes}
    return Layout.model_validate({k: v for k, v in content.items() if v is not None})


def request(path: Path, how: Layout | None = None, select: str | None = None) -> LogRequest:
    """A log of the left shank to read."""
    return LogRequest("left_shank", path, path.name, how or layout(), select)


def values(n: int = 5) -> np.ndarray:
    """Time in s, acceleration in g, angular rate in deg/s; shape (n, 7)."""
    count = np.arange(n, dtype=float)
    level = np.array([0.01, -0.02, 1.0, 1.5, -2.5, 0.125])
    return np.column_stack([count / 100, level + np.outer(count, np.arange(1, 7)) / 64])


def text(delimiter: str = ",", decimal: str = ".", header: str | None = None, n: int = 5) -> str:
    """A log with a header and n samples."""
    lines = [delimiter.join(NAMES) if header is None else header]
    for row in values(n):
        lines.append(delimiter.join(repr(float(cell)).replace(".", decimal) for cell in row))
    return "\n".join(line for line in lines if line) + "\n"


def write_session(folder: Path, content: str = SESSION) -> Path:
    """A session file with the logs that ``SESSION`` names."""
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    for name in ("1_rf", "1_ls", "2_lf"):
        (folder / "logs" / f"{name}.csv").write_text(text())
    path = folder / "session.toml"
    path.write_text(content, encoding="utf-8")
    return path


def link(path: Path, target: Path) -> None:
    """A symbolic link; skips the test where the system does not let us make one."""
    try:
        path.symlink_to(target)
    except OSError as error:
        pytest.skip(f"symbolic links cannot be made here: {error}")


def read(folder, content, how=None, select=None, name="log.csv"):
    """What ``read_log`` makes of a log with this content, a text or bytes."""
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_log(request(path, how, select))


def refusal(folder, content, how=None, select=None, name="log.csv"):
    """The error's text without file and site, which it must begin with."""
    with pytest.raises(LogError, match=rf"^{name} \(left_shank\): ") as caught:
        read(folder, content, how, select, name)
    return str(caught.value).removeprefix(f"{name} (left_shank): ")


def assert_sample_values(log, n=5):
    """The log holds what ``values`` gives, in SI units."""
    np.testing.assert_allclose(log.time_s, values(n)[:, 0], rtol=1e-15)
    np.testing.assert_allclose(log.accel_mps2, values(n)[:, 1:4] * 9.80665, rtol=1e-15)
    np.testing.assert_allclose(log.gyro_radps, np.radians(values(n)[:, 4:]), rtol=1e-15)
