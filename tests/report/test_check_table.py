"""What a check prints."""

import io

from rich.console import Console

from imuproc.checks.findings import CheckReport, Reason, SensorCheck
from imuproc.report.check_table import print_check


def clipped(samples: int, full_scale_g: int) -> Reason:
    text = (
        f"The accelerometer was at the end of its range of {full_scale_g} g in {samples} samples."
    )
    return Reason("limit", text, "Set a larger range.", "accel_clipped", samples)


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
