"""Motion and contacts made by hand, so that every figure can be counted."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.recording import (
    Athlete,
    Calibration,
    Conditioned,
    ConditionedRecording,
    Interval,
    Recording,
    Run,
)
from imuproc.core.sites import Site
from imuproc.dsp.rotations import quat_from_rotvec, quat_multiply

FloatArray = NDArray[np.float64]

TIME_S = 10.0 + np.arange(2501) / 500.0
"""Five seconds at 500 Hz, on a clock that does not begin at zero."""


def contacts(
    rows: Sequence[tuple[str, float, float]], u_s: float = 0.002, shared_u_s: float = 0.0
) -> Contacts:
    """Contacts from (side, touchdown, toe-off) in s after the clock's begin."""
    down = 10.0 + np.array([row[1] for row in rows])
    off = 10.0 + np.array([row[2] for row in rows])
    u = np.full(len(rows), u_s)
    shared = np.full(len(rows), shared_u_s)
    evidence = {"touchdown_reference_u_s": shared, "toe_off_reference_u_s": shared}
    return Contacts(np.array([row[0] for row in rows], dtype="<U5"), down, off, u, u, evidence)


def steady(
    first: str, step_s: float, contact_s: float, count: int, from_s: float = 0.5
) -> Contacts:
    """Steps of one and the same length in time, left and right in turn."""
    sides = ("left", "right") if first == "left" else ("right", "left")
    rows = [
        (sides[k % 2], from_s + k * step_s, from_s + k * step_s + contact_s) for k in range(count)
    ]
    return contacts(rows)


def segment(
    site: Site,
    pitch_rad: FloatArray,
    velocity_mps: FloatArray | None = None,
    u_rad: float = 0.01,
    roll_rad: FloatArray | None = None,
) -> SegmentMotion:
    """A segment that turns in the sagittal plane, pitch toe-up or lean-back positive."""
    n = len(TIME_S)
    zero = np.zeros(n)
    quat = quat_from_rotvec(np.stack((zero, -pitch_rad, zero), axis=1))
    if roll_rad is not None:  # about the forward axis, left side up positive
        quat = quat_multiply(quat, quat_from_rotvec(np.stack((roll_rad, zero, zero), axis=1)))
    rate = np.gradient(pitch_rad, TIME_S)
    return SegmentMotion(
        site=site,
        quat_wxyz=quat,
        pitch_rad=pitch_rad,
        pitch_rate_radps=rate,
        pitch_u_rad=np.full(n, u_rad),
        rate_world_radps=np.stack((zero, -rate, zero), axis=1),
        velocity_mps=np.zeros((n, 3)) if velocity_mps is None else velocity_mps,
        lever_m=np.zeros(3),
    )


def inward_roll(steps: Contacts, side: str, gain_deg: float) -> FloatArray:
    """Roll of one foot in rad: inward by so many deg in 70 ms after touchdown, back in the air."""
    roll = np.zeros(len(TIME_S))
    own = steps.take(steps.side == side)
    for down, off in zip(own.touchdown_s, own.toe_off_s, strict=True):
        roll += np.interp(TIME_S, [down, down + 0.07, off, off + 0.1], [0.0, 1.0, 1.0, 0.0])
    # Inward: the left foot turns its left side up, the right foot its right side.
    return np.radians(gain_deg * roll) * (1.0 if side == "left" else -1.0)


def motion(*segments: SegmentMotion) -> Motion:
    """All segments on the common clock."""
    return Motion(TIME_S, {one.site: one for one in segments})


REST = Interval(14.0, 15.0)


def conditioned(**gaps: tuple[float, float]) -> ConditionedRecording:
    """A recording with one gap in some of its sensors."""
    segments = {}
    swing = 12.0 * np.sin(2.0 * np.pi * 2.0 * TIME_S)
    for site in ("left_shank", "left_foot", "right_shank", "right_foot"):
        start, end = gaps.get(site, (0.0, 0.0))
        measured = ~((start < TIME_S) & (end > TIME_S))
        no = np.zeros(len(TIME_S), dtype=bool)
        calibration = Calibration(np.eye(3), np.zeros(3), 1e-4, REST, None, 0.02, True, (REST,))
        signals = np.stack((0 * swing, swing, 0 * swing), axis=1)
        segments[site] = Conditioned(site, signals, signals, measured, no, no, calibration)
    recording = Recording("harbour", Athlete("R07"), Run("R07-01"), {})
    return ConditionedRecording(recording, TIME_S, 500.0, segments)
