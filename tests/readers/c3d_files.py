"""C3D files written for tests, with ezc3d."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import ezc3d
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Capture:
    """What goes into a file: markers in m, forces in N (upwards on the runner), events in s.

    A plate is given by its range of x and of y in m.
    """

    markers_m: Mapping[str, FloatArray] = field(default_factory=dict)
    point_hz: float = 150.0
    first_frame: int = 0
    forces_n: tuple[FloatArray, ...] = ()
    analog_hz: float = 300.0
    plates_m: tuple[tuple[float, float, float, float], ...] = ((0.0, 4.0, -2.0, 0.0),)
    events: tuple[tuple[float, str, str], ...] = ()
    unit: str = "mm"
    force_unit: str = "N"


_PER_M = {"m": 1.0, "cm": 100.0, "mm": 1000.0, "in": 39.37}


def write(path: Path, capture: Capture) -> Path:
    """Write a capture; plates are of type 2 (six channels)."""
    per_frame = round(capture.analog_hz / capture.point_hz)
    frames = max(
        [len(way) for way in capture.markers_m.values()]
        + [len(force) // per_frame for force in capture.forces_n]
        + [1]
    )
    file = ezc3d.c3d()
    parameters = file["parameters"]
    parameters["POINT"]["RATE"]["value"] = [capture.point_hz]
    parameters["POINT"]["LABELS"]["value"] = list(capture.markers_m)
    parameters["POINT"]["UNITS"]["value"] = [capture.unit]
    points = np.zeros((4, len(capture.markers_m), frames))
    for k, way in enumerate(capture.markers_m.values()):
        points[:3, k] = np.asarray(way).T * _PER_M[capture.unit]
    file["data"]["points"] = points
    file["data"]["meta_points"]["residuals"] = np.where(np.isnan(points[:1]), -1.0, 0.0)
    if capture.forces_n:
        _add_plates(file, capture, frames, per_frame)
    if capture.first_frame:
        file["header"]["points"]["first_frame"] = capture.first_frame
    for time, context, label in capture.events:
        file.add_event([int(time // 60), time % 60], context=context, label=label)
    file.write(str(path))
    return path


def _add_plates(file: ezc3d.c3d, capture: Capture, frames: int, per_frame: int) -> None:
    count = len(capture.forces_n)
    channels = np.zeros((1, 6 * count, frames * per_frame))
    for k, force in enumerate(capture.forces_n):
        # The plate's z axis points down, and it tells what the ground does to the runner.
        channels[0, 6 * k + 2] = -np.asarray(force)[: frames * per_frame]
    parameters = file["parameters"]
    parameters["ANALOG"]["RATE"]["value"] = [capture.analog_hz]
    names = [
        f"{axis}{k + 1}" for k in range(count) for axis in ("Fx", "Fy", "Fz", "Mx", "My", "Mz")
    ]
    parameters["ANALOG"]["LABELS"]["value"] = names
    parameters["ANALOG"]["UNITS"]["value"] = [*[capture.force_unit] * 3, *["Nmm"] * 3] * count
    parameters["ANALOG"]["SCALE"]["value"] = [1.0] * 6 * count
    parameters["ANALOG"]["OFFSET"]["value"] = [0] * 6 * count
    file["data"]["analogs"] = channels
    corners = np.zeros((3, 4, count))
    for k, (start, end, right, left) in enumerate(capture.plates_m):
        corners[:2, :, k] = np.array([[end, end, start, start], [left, right, right, left]])
    plates = parameters["FORCE_PLATFORM"]
    plates["USED"]["value"] = [count]
    plates["TYPE"]["value"] = [2] * count
    plates["CORNERS"]["value"] = corners * _PER_M[capture.unit]
    plates["ORIGIN"]["value"] = np.zeros((3, count))
    plates["CHANNEL"]["value"] = np.arange(1, 6 * count + 1).reshape(6, count, order="F")
