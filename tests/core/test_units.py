"""Units of logs."""

import math

import pytest

from imuproc.core.units import (
    ACCEL_TO_MPS2,
    GYRO_TO_RADPS,
    PER_SECOND,
    TIME_TO_S,
    find_unit,
)


def test_factors_to_si():
    # Standard gravity: CGPM 1901. The rest by definition.
    assert {"g": 9.80665, "mg": pytest.approx(0.00980665), "m/s^2": 1.0} == ACCEL_TO_MPS2
    assert {"deg/s": pytest.approx(math.pi / 180), "rad/s": 1.0} == GYRO_TO_RADPS
    assert TIME_TO_S == {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
    assert PER_SECOND == {"s": 1, "ms": 1000, "us": 1_000_000, "ns": 1_000_000_000}


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("g", "g"),
        (" [G] ", "g"),
        ("(mg)", "mg"),
        ("m/s²", "m/s^2"),
        ("m/s2", "m/s^2"),
        ("°/s", "deg/s"),
        ("dps", "deg/s"),
        ("Rad/s", "rad/s"),
        ("µs", "us"),
        ("μs", "us"),
        ("msec", "ms"),
        ("ns", "ns"),
        ("uT", None),
        ("", None),
        ("-", None),
    ],
)
def test_spellings_of_units(text, unit):
    assert find_unit(text) == unit


def test_every_unit_is_known_by_its_own_name():
    for unit in (*ACCEL_TO_MPS2, *GYRO_TO_RADPS, *TIME_TO_S):
        assert find_unit(unit) == unit
