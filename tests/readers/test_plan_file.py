"""The plan file: what it allows, and how it is refused."""

from pathlib import Path

import pytest

from imuproc.core.errors import SessionError
from imuproc.readers.plan_file import read_plan

PLAN = """
schema = 1
[sensors]
grade = "mid"
rate_hz = 500
bits = 14
[runs]
athletes = 2
runs = 3
distance_m = 30
[[change]]
figure = "contact_time_s"
change = 0.005
step_sd = 0.006
run_sd = 0.003
[errors]
power = 0.9
"""


def read(tmp_path: Path, text: str):
    path = tmp_path / "plan.toml"
    path.write_text(text)
    return read_plan(path)


def test_what_is_left_out_has_a_stated_value(tmp_path: Path) -> None:
    plan = read(tmp_path, PLAN)
    assert plan.sensors.get_stated() == {"bits": 14}
    assert (plan.errors.alpha, plan.errors.power) == (0.05, 0.9)
    assert plan.runs.starts == ("blocks",)
    assert plan.sensors.sites == ("left_shank", "left_foot", "right_shank", "right_foot")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("schema = 1", "schema = 3", r"schema: found the number 3; allowed: the number 1"),
        ("rate_hz = 500", "", r"sensors.rate_hz: this key is missing; allowed: a sampling rate"),
        ("rate_hz = 500", "rate_hz = 5", r"found the number 5; .*50 to 2000"),
        ("bits = 14", "bit = 14", r"unknown key 'bit'; .*did you mean 'bits'"),
        ("bits = 14", "gyro_range_dps = 0", r"full scale in deg/s, above 0"),
        ("athletes = 2\nruns = 3", "athletes = 1\nruns = 1", r"found one run; allowed: two or mo"),
        ('"contact_time_s"', '"contact_time"', r"change\[1\].figure: .*mean 'contact_time_s'"),
        ("change = 0.005", "change = 0.0", r"change\[1\].change: found the number 0"),
        ("step_sd = 0.006\n", "", r"change\[1\].step_sd: this key is missing; allowed: SD from st"),
        ("power = 0.9", "power = 90", r"errors.power: found the number 90; allowed: a share"),
    ],
)
def test_a_problem_is_named_with_its_key(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(SessionError, match=message):
        read(tmp_path, PLAN.replace(old, new))
