"""What the search for coarse contacts looks at, for one leg: smoothed rates and forces.

Sagittal rates need no vertical. Forces along the shank and off the sole do: where no quiet standing
gave the segment axes, the usual angle between the mean force of running and the segment's own
vertical stands in for it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Conditioned, ConditionedRecording
from imuproc.core.sites import Side, foot_of, is_foot, shank_of
from imuproc.dsp.filters import derivative, low_pass, moving_mean, odd_width
from imuproc.dsp.rotations import lengths

FloatArray = NDArray[np.float64]

# From the mean force of running to the segment's vertical in standing, in rad: mean of 11 runners,
# both legs, 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298): shank 38 ± 4 deg, foot
# 22 ± 5 deg; sprints differ by less than 10 deg (simulated).
_SHANK_FORCE_LEAN_RAD = np.radians(36.0)
_FOOT_FORCE_LEAN_RAD = np.radians(24.0)

# Usual distance from a shank sensor down to the ankle in m (from memory; the marks hardly move
# between 0.12 and 0.30 m).
_ANKLE_BELOW_SHANK_SENSOR_M = 0.22

# The force that pushes off is steepest in its fall along this direction: leaning from the sole's
# normal towards the toes, in rad.
_PUSH_LEAN_RAD = np.radians(15.0)

_SWING_CUTOFF_HZ = 10.0
_TURN_CUTOFF_HZ = 15.0
_PUSH_CUTOFF_HZ = 12.0
_AXIAL_CUTOFF_HZ = 60.0
_JERK_CUTOFF_HZ = 60.0
_SHOCK_HZ = (20.0, 150.0)
_IMPACT_WINDOW_S = 0.15


@dataclass(frozen=True, eq=False)
class LegSignals:
    """Signals of one leg, all shape (n,).

    Parameters
    ----------
    side : Side
    rate_hz : float
    time_s : ndarray
    swing_radps : ndarray
        Sagittal rate of the shank, else of the foot, smoothed; positive in the forward swing.
    turn_radps : ndarray
        The same, less smoothed.
    jerk_mps3 : ndarray
        Size of the jerk of the foot, else of the shank: it shakes at touchdown.
    slow_jerk_mps3 : ndarray
        The same of its slow motion, without the shock of an impact.
    shock_mps3 : ndarray
        Size of the jerk of the foot, else of the shank, between 20 and 150 Hz: what an impact adds
        to the motion of the leg.
    axial_mps2 : ndarray or None
        Specific force of the ankle along the shank, upward; None without a shank sensor.
    push_mps2 : ndarray or None
        Specific force off the sole, leaning forward; None without a foot sensor.
    foot_turn_radps : ndarray or None
        Sagittal rate of the foot; None without a foot sensor.
    """

    side: Side
    rate_hz: float
    time_s: FloatArray
    swing_radps: FloatArray
    turn_radps: FloatArray
    jerk_mps3: FloatArray
    slow_jerk_mps3: FloatArray
    shock_mps3: FloatArray
    axial_mps2: FloatArray | None
    push_mps2: FloatArray | None
    foot_turn_radps: FloatArray | None


@dataclass(frozen=True, eq=False)
class _Cut:
    """One segment's signals inside the run, in axes whose y axis surely points left."""

    accel_mps2: FloatArray
    gyro_radps: FloatArray

    @property
    def pitch_rate_radps(self) -> FloatArray:
        return np.asarray(-self.gyro_radps[:, 1])


def leg_signals(conditioned: ConditionedRecording, inside: slice, side: Side) -> LegSignals | None:
    """Signals of one leg within a run; None where the leg has no sensor.

    Parameters
    ----------
    conditioned : ConditionedRecording
    inside : slice
        Samples of the run.
    side : Side

    Returns
    -------
    LegSignals or None
    """
    rate_hz = conditioned.rate_hz
    shank = _cut(conditioned.segments.get(shank_of(side)), inside, rate_hz, None)
    foot = _cut(conditioned.segments.get(foot_of(side)), inside, rate_hz, shank)
    leader, shaken = shank or foot, foot or shank
    if leader is None or shaken is None:
        return None
    rate = leader.pitch_rate_radps
    slow_hz, fast_hz = _SHOCK_HZ
    slow = _smooth(shaken.accel_mps2, slow_hz, rate_hz)
    return LegSignals(
        side=side,
        rate_hz=rate_hz,
        time_s=conditioned.time_s[inside],
        swing_radps=_smooth(rate, _SWING_CUTOFF_HZ, rate_hz),
        turn_radps=_smooth(rate, _TURN_CUTOFF_HZ, rate_hz),
        jerk_mps3=_jerk(_smooth(shaken.accel_mps2, _JERK_CUTOFF_HZ, rate_hz), rate_hz),
        slow_jerk_mps3=_jerk(slow, rate_hz),
        shock_mps3=_jerk(_smooth(shaken.accel_mps2 - slow, fast_hz, rate_hz), rate_hz),
        axial_mps2=None if shank is None else _ankle_force(shank, rate_hz),
        push_mps2=None if foot is None else _push_force(foot, rate_hz),
        foot_turn_radps=(
            None if foot is None else _smooth(foot.pitch_rate_radps, _PUSH_CUTOFF_HZ, rate_hz)
        ),
    )


def _smooth(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    return low_pass(x, min(cutoff_hz, 0.4 * rate_hz), rate_hz)


def _jerk(smooth_mps2: FloatArray, rate_hz: float) -> FloatArray:
    return lengths(derivative(smooth_mps2, rate_hz))


def _ankle_force(shank: _Cut, rate_hz: float) -> FloatArray:
    """Specific force of the ankle along the shank: that of the sensor, moved down a rigid shank."""
    seen = np.column_stack((shank.accel_mps2[:, 2], shank.gyro_radps[:, :2]))
    accel, *gyro = _smooth(seen, _AXIAL_CUTOFF_HZ, rate_hz).T
    # The axial part of omega x (omega x r) for r straight down; angular acceleration adds none.
    return np.asarray(accel + _ANKLE_BELOW_SHANK_SENSOR_M * (gyro[0] ** 2 + gyro[1] ** 2))


def _push_force(foot: _Cut, rate_hz: float) -> FloatArray:
    accel = foot.accel_mps2
    push = np.cos(_PUSH_LEAN_RAD) * accel[:, 2] + np.sin(_PUSH_LEAN_RAD) * accel[:, 0]
    return _smooth(push, _PUSH_CUTOFF_HZ, rate_hz)


def _cut(
    segment: Conditioned | None, inside: slice, rate_hz: float, partner: _Cut | None
) -> _Cut | None:
    """Signals of a segment; without standing its axes are put right as far as running tells."""
    if segment is None:
        return None
    cut = _Cut(segment.accel_mps2[inside], segment.gyro_radps[inside])
    if segment.calibration.vertical_known:
        return cut
    foot = is_foot(segment.site)
    if foot and not _points_left(cut, rate_hz, partner):
        half_turn = np.array([-1.0, -1.0, 1.0])
        cut = _Cut(cut.accel_mps2 * half_turn, cut.gyro_radps * half_turn)
    lean = _FOOT_FORCE_LEAN_RAD if foot else _SHANK_FORCE_LEAN_RAD
    # The mean force leans back from the segment's own vertical.
    turn = np.array(
        [[np.cos(lean), 0.0, -np.sin(lean)], [0.0, 1.0, 0.0], [np.sin(lean), 0.0, np.cos(lean)]]
    )
    return _Cut(cut.accel_mps2 @ turn.T, cut.gyro_radps @ turn.T)


def _points_left(foot: _Cut, rate_hz: float, shank: _Cut | None) -> bool:
    """Whether a foot's y axis points left, not right.

    With a shank sensor: both swing forward together. Else: the foot shakes after its forward swing
    and before its push-off.
    """
    rate = foot.pitch_rate_radps
    if shank is not None:
        return float(np.sum(rate * shank.pitch_rate_radps)) > 0.0
    jerk = _jerk(_smooth(foot.accel_mps2, _JERK_CUTOFF_HZ, rate_hz), rate_hz)
    half = odd_width(_IMPACT_WINDOW_S, rate_hz)
    mean = moving_mean(_smooth(rate, _SWING_CUTOFF_HZ, rate_hz), half)
    shift = half // 2
    before, after = np.roll(mean, shift), np.roll(mean, -shift)
    return float(np.sum((jerk - jerk.mean()) * (before - after))) > 0.0
