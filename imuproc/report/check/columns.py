"""Columns of the table that a check prints."""

from collections.abc import Callable
from dataclasses import dataclass
from math import acos, degrees, isfinite
from typing import Final

from imuproc.checks.findings import SensorCheck
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.files.text import MISSING, fixed

_AXES: Final = "xyz"


@dataclass(frozen=True)
class Column:
    """A column of the table.

    Parameters
    ----------
    heading, unit : str
    rank, rank_still : int
        The largest are left out first where the terminal is narrow; another order where nobody
        ran.
    cell : callable
        Text of one sensor.
    meaning : str
        For the legend; empty where the heading says it all.
    """

    heading: str
    unit: str
    rank: int
    rank_still: int
    cell: Callable[[SensorCheck], str]
    meaning: str = ""


def _known(value: float, decimals: int) -> str:
    return fixed(value, decimals, MISSING)


def _used(largest: float, full_scale: float, per_unit: float) -> str:
    """Largest reading of the range, as in ``14/32``."""
    if not isfinite(largest):
        return MISSING
    whole = f"{full_scale / per_unit:.0f}" if isfinite(full_scale) else "?"
    return f"{largest / per_unit:.0f}/{whole}"


def _up(sensor: SensorCheck) -> str:
    """The sensor's axis that points up, as in ``+y``, and how far off it is."""
    up = sensor.still.up
    if not isfinite(up[0]):
        return MISSING
    axis = max(range(3), key=lambda k: abs(up[k]))
    off = degrees(_angle(abs(up[axis])))
    return f"{'+' if up[axis] > 0.0 else '-'}{_AXES[axis]} {off:.0f}"


def _angle(cosine: float) -> float:
    return acos(min(1.0, cosine))


def _lost(sensor: SensorCheck) -> str:
    return str(sensor.sampling.missing) if sensor.sampling.samples else MISSING


def _still(sensor: SensorCheck) -> str:
    still = sensor.still
    if still.kind == "none":
        return "0" if sensor.sampling.samples else MISSING
    return f"{still.still_s:.0f} {still.kind}" if still.kind != "unsure" else f"{still.still_s:.0f}"


def _clock(sensor: SensorCheck) -> str:
    offset_s = sensor.clock.offset_s
    if not isfinite(offset_s):
        return MISSING
    return f"{1e3 * offset_s:+z.0f}" if abs(offset_s) < 10.0 else f"{offset_s:+.0f} s"


def _drift(sensor: SensorCheck) -> str:
    """Bias instability in deg/h, or what it is at most."""
    reading = sensor.still.gyro_allan
    per_hour = degrees(1.0) * 3600.0
    if isfinite(reading.bias_instability):
        return f"{per_hour * reading.bias_instability:.0f}"
    if isfinite(reading.bias_instability_at_most):
        return f"<{per_hour * reading.bias_instability_at_most:.0f}"
    return MISSING


def _bias(sensor: SensorCheck) -> str:
    return _known(degrees(max(map(abs, sensor.still.gyro_bias_radps))), 1)


COLUMNS: Final = (
    Column("rate", "Hz", 1, 1, lambda s: _known(s.sampling.rate_hz, 0)),
    Column(
        "jitter",
        "%",
        7,
        7,
        lambda s: _known(100.0 * s.sampling.jitter_share, 0),
        "scatter of the time between samples (SD)",
    ),
    Column("lost", "", 2, 2, _lost, "samples missing"),
    Column(
        "accel",
        "g",
        3,
        8,
        lambda s: _used(s.accel.largest, s.accel.full_scale, STANDARD_GRAVITY_MPS2),
        "largest reading and range; ? where the layout does not state it",
    ),
    Column(
        "gyro",
        "deg/s",
        3,
        8,
        lambda s: _used(s.gyro.largest, s.gyro.full_scale, 1.0 / degrees(1.0)),
        "largest reading and range",
    ),
    Column("still", "s", 4, 3, _still, "how long, and whether it lay or was worn"),
    Column(
        "up", "deg", 5, 6, _up, "sensor axis that points up in stillness, and how far off it is"
    ),
    Column(
        "noise",
        "deg/s/√Hz",
        6,
        3,
        lambda s: _known(degrees(s.still.gyro_noise_radps_rthz), 3),
        "of the gyroscope at rest",
    ),
    Column(
        "noise",
        "µg/√Hz",
        8,
        4,
        lambda s: _known(s.still.accel_noise_mps2_rthz / (1e-6 * STANDARD_GRAVITY_MPS2), 0),
        "of the accelerometer at rest",
    ),
    Column("offset", "deg/s", 9, 5, _bias, "what the gyroscope reads at rest"),
    Column(
        "drift",
        "deg/h",
        8,
        4,
        _drift,
        "bias instability of the gyroscope; < is an upper limit: let it lie longer",
    ),
    Column(
        "stands",
        "deg",
        10,
        10,
        lambda s: _known(degrees(s.standing_differs_rad), 1),
        "difference between standing before and after the run",
    ),
    Column(
        "clock", "ms", 7, 9, _clock, "ahead of the clock of its shank, or of a sensor named before"
    ),
)
