"""Units that logs may use, and their factors to SI."""

from math import pi
from typing import Final

STANDARD_GRAVITY_MPS2: Final = 9.80665
"""Standard acceleration of free fall, CGPM 1901 (exact)."""

ACCEL_TO_MPS2: Final[dict[str, float]] = {
    "g": STANDARD_GRAVITY_MPS2,
    "mg": STANDARD_GRAVITY_MPS2 / 1000.0,
    "m/s^2": 1.0,
}
GYRO_TO_RADPS: Final[dict[str, float]] = {"deg/s": pi / 180.0, "rad/s": 1.0}
TIME_TO_S: Final[dict[str, float]] = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
