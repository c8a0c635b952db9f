"""Made-up captures of legs on plates, as C3D, and how tests read them."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from imuproc.core.reference import Reference
from imuproc.readers.references.layout import LAYOUTS
from imuproc.readers.references.registry import read_reference
from imuproc.readers.references.request import ReferenceRequest
from tests.readers.c3d_files import Capture

FloatArray = NDArray[np.float64]

MARKERS = {
    "left": {"knee": "LKNE", "ankle": "LANK", "heel": "LHEE", "toe": "LTOE"},
    "right": {"knee": "RKNE", "ankle": "RANK", "heel": "RHEE", "toe": "RTOE"},
}
FORCE: dict[str, Any] = {"format": "c3d", "events": "force"}
BY_MARKERS: dict[str, Any] = {**FORCE, "markers": MARKERS, "forward": "+x"}
STORED: dict[str, Any] = {"format": "c3d", "events": "stored"}
TOUCHDOWNS = np.array([0.3, 0.6, 0.9, 1.2])
CONTACT_S = 0.16
PLATE_HZ, POINT_HZ = 1000.0, 200.0
ALL = (-10.0, 10.0, -10.0, 10.0)
SHIN_DEG, PITCH_DEG = 70.0, -8.0
"""Of the made-up legs at touchdown; they turn by 100 deg/s forward until toe-off."""


def read(path: Path, layout: dict[str, Any], standing: Path | None = None) -> Reference:
    made = LAYOUTS["c3d"].model_validate(layout)
    name = standing.name if standing else ""
    return read_reference(
        ReferenceRequest(path, path.name, made, standing=standing, standing_source=name)
    )


def force(touchdowns: FloatArray = TOUCHDOWNS, end_s: float = 1.7, zero_n: float = 4.0):
    """Contacts that load by 10 N per ms up to 900 N."""
    t = np.arange(0.0, end_s, 1.0 / PLATE_HZ)
    pushes = [
        np.clip(np.minimum(t - on, on + CONTACT_S - t) * 10_000.0, 0.0, 900.0) for on in touchdowns
    ]
    return np.sum(pushes, axis=0) + zero_n


def legs(speed_mps: float = 0.0, heading: float = 0.0, tilt_deg: float = 0.0) -> dict[str, Any]:
    """Markers of legs that take turns on the ground: left, right, left, right.

    Marker lines are turned by ``tilt_deg`` against the segments, as markers on shoes are.
    """
    t = np.arange(0.0, 1.7, 1.0 / POINT_HZ)
    turn = Rotation.from_euler("z", heading)
    out = {}
    for number, (letter, y) in enumerate((("L", 0.1), ("R", -0.1))):
        lift, forward_deg = np.full(len(t), 0.25), np.zeros(len(t))
        for on in TOUCHDOWNS[number::2]:
            inside = (t >= on - 0.02) & (t <= on + CONTACT_S + 0.02)
            lift[inside] = 0.0
            forward_deg = np.where(inside, -100.0 * (t - on), forward_deg)
        heel = np.column_stack((speed_mps * t, np.full(len(t), y), 0.02 + lift))
        parts = {"HEE": heel}
        for name, start, length, angle in (
            ("TOE", "HEE", 0.2, PITCH_DEG),
            ("ANK", "HEE", 0.1, 60.0),
            ("KNE", "ANK", 0.4, SHIN_DEG),
        ):
            own = forward_deg if name != "ANK" else np.zeros(len(t))
            a = np.radians(angle + tilt_deg + own)
            parts[name] = parts[start] + length * np.column_stack((np.cos(a), 0.0 * a, np.sin(a)))
        out |= {letter + name: turn.apply(way) for name, way in parts.items()}
    return out


def standing() -> dict[str, Any]:
    """Quiet standing along y with the marker lines 3 deg off: 93 and 3."""
    n = 50
    out = {}
    for letter, y in (("L", 0.1), ("R", -0.1)):
        heel = np.tile([-y, 0.0, 0.02], (n, 1))
        a, b = np.radians(3.0), np.radians(93.0)
        toe = heel + 0.2 * np.array([0.0, np.cos(a), np.sin(a)])
        ankle = heel + np.array([0.0, 0.04, 0.08])
        knee = ankle + 0.4 * np.array([0.0, np.cos(b), np.sin(b)])
        names = ("HEE", "TOE", "ANK", "KNE")
        out |= {letter + m: w for m, w in zip(names, (heel, toe, ankle, knee), strict=True)}
    return out


def capture(**changes: Any) -> Capture:
    usual: dict[str, Any] = {
        "markers_m": legs(),
        "point_hz": POINT_HZ,
        "forces_n": (force(),),
        "analog_hz": PLATE_HZ,
        "plates_m": (ALL,),
    }
    return Capture(**{**usual, **changes})
