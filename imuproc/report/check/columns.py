"""Columns of the table that a check prints."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import acos, degrees, isfinite
from typing import Final

from imuproc.checks.findings import SensorCheck
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.files.text import MISSING, format_fixed
from imuproc.report.terminal_table import Column

_AXES: Final = "xyz"


@dataclass(frozen=True)
class ShownSensor:
    """A sensor under the name by which it is shown; its reasons are those of all sensors too."""

    name: str
    check: SensorCheck


def _format_known(value: float, decimals: int) -> str:
    return format_fixed(value, decimals, MISSING)


def _format_range_used(largest: float, full_scale: float, per_unit: float) -> str:
    """Largest reading of the range, as in ``14/32``."""
    if not isfinite(largest):
        return MISSING
    whole = f"{full_scale / per_unit:.0f}" if isfinite(full_scale) else "?"
    return f"{largest / per_unit:.0f}/{whole}"


def _format_up(sensor: ShownSensor) -> str:
    """The sensor's axis that points up, as in ``+y``, and how far off it is."""
    up = sensor.check.still.up
    if not isfinite(up[0]):
        return MISSING
    axis = max(range(3), key=lambda k: abs(up[k]))
    off = degrees(_format_angle(abs(up[axis])))
    return f"{'+' if up[axis] > 0.0 else '-'}{_AXES[axis]} {off:.0f}"


def _format_angle(cosine: float) -> float:
    return acos(min(1.0, cosine))


def _format_lost(sensor: ShownSensor) -> str:
    return str(sensor.check.sampling.missing) if sensor.check.sampling.samples else MISSING


def _format_still(sensor: ShownSensor) -> str:
    still = sensor.check.still
    if still.kind == "none":
        return "0" if sensor.check.sampling.samples else MISSING
    return f"{still.still_s:.0f} {still.kind}" if still.kind != "unsure" else f"{still.still_s:.0f}"


def _format_clock(sensor: ShownSensor) -> str:
    offset_s = sensor.check.clock.offset_s
    if not isfinite(offset_s):
        return MISSING
    return f"{1e3 * offset_s:+z.0f}" if abs(offset_s) < 10.0 else f"{offset_s:+.0f} s"


def _format_drift(sensor: ShownSensor) -> str:
    """Bias instability in deg/h, or what it is at most."""
    reading = sensor.check.still.gyro_allan
    per_hour = degrees(1.0) * 3600.0
    if isfinite(reading.bias_instability):
        return f"{per_hour * reading.bias_instability:.0f}"
    if isfinite(reading.bias_instability_at_most):
        return f"<{per_hour * reading.bias_instability_at_most:.0f}"
    return MISSING


def _format_bias(sensor: ShownSensor) -> str:
    return _format_known(degrees(max(map(abs, sensor.check.still.gyro_bias_radps))), 1)


def _gyro_noise(sensor: ShownSensor) -> str:
    return _format_known(degrees(sensor.check.still.gyro_noise_radps_rthz), 3)


def _accel_noise(sensor: ShownSensor) -> str:
    return _format_known(
        sensor.check.still.accel_noise_mps2_rthz / (1e-6 * STANDARD_GRAVITY_MPS2), 0
    )


def _format_accel(sensor: ShownSensor) -> str:
    accel = sensor.check.accel
    return _format_range_used(accel.largest, accel.full_scale, STANDARD_GRAVITY_MPS2)


def _format_gyro(sensor: ShownSensor) -> str:
    gyro = sensor.check.gyro
    return _format_range_used(gyro.largest, gyro.full_scale, 1.0 / degrees(1.0))


def _format_jitter(sensor: ShownSensor) -> str:
    return _format_known(100.0 * sensor.check.sampling.jitter_share, 0)


def _format_rate(sensor: ShownSensor) -> str:
    return _format_known(sensor.check.sampling.rate_hz, 0)


def _format_standing(sensor: ShownSensor) -> str:
    return _format_known(degrees(sensor.check.standing_differs_rad), 1)


# Heading, unit, cell, rank where somebody ran and where nobody did, meaning.
_FIGURES: Final = (
    ("rate", "Hz", _format_rate, (1, 1), ""),
    ("jitter", "%", _format_jitter, (7, 7), "scatter of the time between samples (SD)"),
    ("lost", "", _format_lost, (2, 2), "samples missing"),
    (
        "accel", "g", _format_accel, (3, 8),
        "largest reading and range; ? where the layout does not state it",
    ),
    ("gyro", "deg/s", _format_gyro, (3, 8), "largest reading and range"),
    ("still", "s", _format_still, (4, 3), "how long, and whether it lay or was worn"),
    (
        "up", "deg", _format_up, (5, 6),
        "sensor axis that points up in stillness, and how far off it is",
    ),
    ("noise", "deg/s/√Hz", _gyro_noise, (6, 3), "of the gyroscope at rest"),
    ("noise", "µg/√Hz", _accel_noise, (8, 4), "of the accelerometer at rest"),
    ("offset", "deg/s", _format_bias, (9, 5), "what the gyroscope reads at rest"),
    (
        "drift", "deg/h", _format_drift, (8, 4),
        "bias instability of the gyroscope; < is an upper limit: let it lie longer",
    ),
    (
        "stands", "deg", _format_standing, (10, 10),
        "difference between standing before and after the run",
    ),
    (
        "clock", "ms", _format_clock, (7, 9),
        "ahead of the clock of its shank, or of a sensor named before",
    ),
)  # fmt: skip


def figure_columns(
    sensors: Sequence[ShownSensor], running: bool
) -> tuple[Column[ShownSensor], ...]:
    """Columns of the figures that say something of any sensor.

    Parameters
    ----------
    sensors : sequence of ShownSensor
    running : bool
        Whether anybody ran: other figures then matter most.
    """
    return tuple(
        Column(heading, unit, cell, ranks[not running], meaning=meaning)
        for heading, unit, cell, ranks, meaning in _FIGURES
        if any(cell(sensor) != MISSING for sensor in sensors)
    )
