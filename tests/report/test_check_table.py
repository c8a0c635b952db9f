"""What a check prints."""

import io

from rich.console import Console

from imuproc.checks.findings import CheckReport, Reason, Sampling, SensorCheck
from imuproc.core.flags import RaisedFlag
from imuproc.report.check.table import print_check


def clipped(samples: int, full_scale_g: int) -> Reason:
    text = (
        f"The accelerometer was at the end of its range of {full_scale_g} g in {samples} samples."
    )
    flag = RaisedFlag("accel_clipped", {"samples": samples})
    return Reason("limit", text, "Set a larger range.", flag)


def test_of_reasons_that_are_alike_the_worst_is_shown() -> None:
    sensors = (
        SensorCheck("left_shank", "ls.csv", reasons=(clipped(2, 32),)),
        SensorCheck("left_foot", "lf.csv", reasons=(clipped(41, 16),)),
    )
    out = io.StringIO()
    print_check(Console(file=out, width=80), [CheckReport("R07-01", "R07", (), sensors)])
    text = " ".join(out.getvalue().split())
    assert "all sensors: The accelerometer was at the end of its range of 16 g in 41" in text
    assert "(Numbers of the worst one.)" in text
    assert "in 2 samples" not in text


def test_what_concerns_all_sensors_is_in_the_verdict_of_each() -> None:
    sensors = (SensorCheck("left_shank", "ls.csv"), SensorCheck("left_foot", "lf.csv"))
    swapped = (Reason("unfit", "The left and right logs look swapped."),)
    out = io.StringIO()
    print_check(Console(file=out, width=80), [CheckReport("R07-01", "R07", (), sensors, swapped)])
    words = [line.split() for line in out.getvalue().splitlines()]
    assert ["left", "shank", "NOT", "FIT"] in words
    assert ["left", "foot", "NOT", "FIT"] in words
    assert out.getvalue().count("look swapped") == 1
    assert "2 logs: 2 not fit. Overall: not fit." in out.getvalue()


def test_logs_of_which_nothing_could_be_read_are_not_said_to_hold_no_run() -> None:
    broken = (Reason("unfit", "The file is damaged."),)
    read = SensorCheck("right_shank", "rs.csv", Sampling(samples=500))
    for sensors, said in (
        ((SensorCheck("left_shank", "ls.csv", reasons=broken),), "nothing could be checked"),
        ((SensorCheck("left_shank", "ls.csv", reasons=broken), read), "nobody runs in it"),
    ):
        out = io.StringIO()
        print_check(Console(file=out, width=80), [CheckReport("R07-01", "R07", (), sensors)])
        assert f"R07-01 (R07), {said}: not fit" in out.getvalue()
