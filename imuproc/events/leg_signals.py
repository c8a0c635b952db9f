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
from imuproc.dsp.filters import differentiate, low_pass
from imuproc.dsp.rotations import norm
from imuproc.files.settings_model import FUKUCHI, TRIED, StageSettings, number, span

FloatArray = NDArray[np.float64]


class SignalSettings(StageSettings):
    """What the search for coarse contacts looks at: cut-offs and usual directions."""

    basis = TRIED
    swing_cutoff_hz: float = number(
        10.0, (1.0, 50.0), "Low-pass of the rate by which forward swings are told."
    )
    turn_cutoff_hz: float = number(
        15.0, (1.0, 100.0), "Low-pass of the rate by which the shank's folding is told."
    )
    push_cutoff_hz: float = number(
        12.0, (1.0, 100.0), "Low-pass of the foot's rate and of the force off the sole."
    )
    axial_cutoff_hz: float = number(60.0, (5.0, 400.0), "Low-pass of the force along the shank.")
    jerk_cutoff_hz: float = number(
        60.0, (5.0, 400.0), "Low-pass of the acceleration whose jerk is looked at."
    )
    shock_hz: tuple[float, float] = span(
        (20.0, 150.0), (1.0, 1000.0), "Band of what an impact adds to the motion of the leg."
    )
    push_lean_deg: float = number(
        15.0,
        (-45.0, 60.0),
        "The force that pushes off is steepest in its fall along this direction: leaning from the "
        "sole's normal towards the toes.",
    )
    shank_force_lean_deg: float = number(
        36.0,
        (0.0, 90.0),
        "From the mean force of running to the shank's vertical in standing; stands in where no "
        "quiet standing gave the axes.",
        f"38 deg, SD 4 deg, in {FUKUCHI}, both legs; simulated sprints differ by less than 10 deg",
    )
    foot_force_lean_deg: float = number(
        24.0,
        (0.0, 90.0),
        "The same for the foot.",
        f"22 deg, SD 5 deg, in {FUKUCHI}, both legs; simulated sprints differ by less than 10 deg",
    )


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
        Size of the jerk of the foot, else of the shank, in the band of shocks: what an impact adds
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


def compute_leg_signals(
    conditioned: ConditionedRecording,
    inside: slice,
    side: Side,
    settings: SignalSettings,
    ankle_m: float,
) -> LegSignals | None:
    """Signals of one leg within a run; None where the leg has no sensor.

    Parameters
    ----------
    conditioned : ConditionedRecording
    inside : slice
        Samples of the run.
    side : Side
    settings : SignalSettings
    ankle_m : float
        Usual distance from a sensor on the shank down to the ankle.

    Returns
    -------
    LegSignals or None
    """
    rate_hz = conditioned.rate_hz
    shank = _cut_segment(conditioned.segments.get(shank_of(side)), inside, rate_hz, None, settings)
    foot = _cut_segment(conditioned.segments.get(foot_of(side)), inside, rate_hz, shank, settings)
    leader, shaken = shank or foot, foot or shank
    if leader is None or shaken is None:
        return None
    rate = leader.pitch_rate_radps
    slow_hz, fast_hz = settings.shock_hz
    slow = _smooth_axes(shaken.accel_mps2, slow_hz, rate_hz)
    return LegSignals(
        side=side,
        rate_hz=rate_hz,
        time_s=conditioned.time_s[inside],
        swing_radps=_smooth_axes(rate, settings.swing_cutoff_hz, rate_hz),
        turn_radps=_smooth_axes(rate, settings.turn_cutoff_hz, rate_hz),
        jerk_mps3=_compute_jerk(
            _smooth_axes(shaken.accel_mps2, settings.jerk_cutoff_hz, rate_hz), rate_hz
        ),
        slow_jerk_mps3=_compute_jerk(slow, rate_hz),
        shock_mps3=_compute_jerk(_smooth_axes(shaken.accel_mps2 - slow, fast_hz, rate_hz), rate_hz),
        axial_mps2=None
        if shank is None
        else _compute_ankle_force(shank, rate_hz, settings, ankle_m),
        push_mps2=None if foot is None else _compute_push_force(foot, rate_hz, settings),
        foot_turn_radps=(
            None
            if foot is None
            else _smooth_axes(foot.pitch_rate_radps, settings.push_cutoff_hz, rate_hz)
        ),
    )


def _smooth_axes(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    return low_pass(x, min(cutoff_hz, 0.4 * rate_hz), rate_hz)


def _compute_jerk(smooth_mps2: FloatArray, rate_hz: float) -> FloatArray:
    return norm(differentiate(smooth_mps2, rate_hz))


def _compute_ankle_force(
    shank: _Cut, rate_hz: float, settings: SignalSettings, ankle_m: float
) -> FloatArray:
    """Specific force of the ankle along the shank: that of the sensor, moved down a rigid shank."""
    seen = np.column_stack((shank.accel_mps2[:, 2], shank.gyro_radps[:, :2]))
    accel, *gyro = _smooth_axes(seen, settings.axial_cutoff_hz, rate_hz).T
    # The axial part of omega x (omega x r) for r straight down; angular acceleration adds none.
    return np.asarray(accel + ankle_m * (gyro[0] ** 2 + gyro[1] ** 2))


def _compute_push_force(foot: _Cut, rate_hz: float, settings: SignalSettings) -> FloatArray:
    accel, lean = foot.accel_mps2, np.radians(settings.push_lean_deg)
    push = np.cos(lean) * accel[:, 2] + np.sin(lean) * accel[:, 0]
    return _smooth_axes(push, settings.push_cutoff_hz, rate_hz)


def _cut_segment(
    segment: Conditioned | None,
    inside: slice,
    rate_hz: float,
    shank: _Cut | None,
    settings: SignalSettings,
) -> _Cut | None:
    """Signals of a segment; without standing its axes are put right as far as running tells."""
    if segment is None:
        return None
    cut = _Cut(segment.accel_mps2[inside], segment.gyro_radps[inside])
    if segment.calibration.vertical_known:
        return cut
    foot = is_foot(segment.site)
    # Both swing forward together; of a foot by itself nothing would tell, and it is left out.
    if foot and shank is not None and cut.pitch_rate_radps @ shank.pitch_rate_radps <= 0.0:
        half_turn = np.array([-1.0, -1.0, 1.0])
        cut = _Cut(cut.accel_mps2 * half_turn, cut.gyro_radps * half_turn)
    lean = np.radians(settings.foot_force_lean_deg if foot else settings.shank_force_lean_deg)
    # The mean force leans back from the segment's own vertical.
    turn = np.array(
        [[np.cos(lean), 0.0, -np.sin(lean)], [0.0, 1.0, 0.0], [np.sin(lean), 0.0, np.cos(lean)]]
    )
    return _Cut(cut.accel_mps2 @ turn.T, cut.gyro_radps @ turn.T)
