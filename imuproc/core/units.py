"""Units that logs may use, their factors to SI, and the ways in which loggers spell them."""

from math import pi
from typing import Final, Literal

AccelUnit = Literal["g", "mg", "m/s^2"]
GyroUnit = Literal["deg/s", "rad/s"]
TimeUnit = Literal["s", "ms", "us", "ns"]

STANDARD_GRAVITY_MPS2: Final = 9.80665
"""Standard acceleration of free fall, CGPM 1901 (exact)."""

ACCEL_TO_MPS2: Final[dict[AccelUnit, float]] = {
    "g": STANDARD_GRAVITY_MPS2,
    "mg": STANDARD_GRAVITY_MPS2 / 1000.0,
    "m/s^2": 1.0,
}
GYRO_TO_RADPS: Final[dict[GyroUnit, float]] = {"deg/s": pi / 180.0, "rad/s": 1.0}
# Whole numbers, so that dividing big integer stamps by them rounds once only.
PER_SECOND: Final[dict[TimeUnit, float]] = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
TIME_TO_S: Final[dict[TimeUnit, float]] = {unit: 1.0 / n for unit, n in PER_SECOND.items()}

# Common practice, no source: how loggers write these units in headers and unit lines.
_SPELLINGS: Final[dict[str, tuple[str, ...]]] = {
    "g": ("g", "g0", "gn"),
    "mg": ("mg", "milli-g", "millig"),
    "m/s^2": ("m/s^2", "m/s2", "m/s²", "m/s/s", "m/s**2", "ms-2", "m.s-2", "m s-2", "ms^-2"),
    "deg/s": ("deg/s", "deg/sec", "degrees/s", "°/s", "º/s", "dps", "deg.s-1", "deg s-1"),
    "rad/s": ("rad/s", "rad/sec", "radians/s", "rad.s-1", "rad s-1", "rad s^-1", "rps"),
    "s": ("s", "sec", "secs", "second", "seconds"),
    "ms": ("ms", "msec", "millis", "millisecond", "milliseconds"),
    "us": ("us", "usec", "µs", "μs", "micros", "microsecond", "microseconds"),
    "ns": ("ns", "nsec", "nanosecond", "nanoseconds"),
}
_BY_SPELLING: Final[dict[str, str]] = {
    spelling.casefold(): unit for unit, spellings in _SPELLINGS.items() for spelling in spellings
}


def find_unit(text: str) -> str | None:
    """Unit that a logger's spelling stands for.

    Parameters
    ----------
    text : str
        As found in a header or unit line; blanks around it, brackets and case do not matter.

    Returns
    -------
    str or None
        A key of the tables above; None where the text is no unit that we know.
    """
    return _BY_SPELLING.get(text.strip().strip("[](){}<>").strip().casefold())
