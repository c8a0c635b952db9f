"""Path of the ball of the foot while it is on the ground.

The ball (metatarsal heads) is the centre of a short roller under the forefoot. It lands on its
outer edge, is stopped within some ms, rolls forward as the heel rises, and is lifted over the toes
at the end, while the toe tip stays until toe-off. All paths meet with equal position, velocity and
acceleration.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from imuproc.dsp.easing import quintic_step
from imuproc.synth.legs.ankle import compute_heel_lead_s
from imuproc.synth.plan import Body
from imuproc.synth.stances import Stance

FloatArray = NDArray[np.float64]

_SINK_M: Final = 0.004
_HEEL_PAD_M: Final = (0.0015, 0.007)
_HEEL_STOP_S: Final = (0.006, 0.009)
"""Shortest and longest time in which the ground stops the heel (judgement)."""


def interpolate_hermite(
    w: FloatArray, start: FloatArray, end: FloatArray, span_s: float
) -> FloatArray:
    """Quintic between two states (position, velocity, acceleration).

    Parameters
    ----------
    w : ndarray, shape (n,)
        Time as a share of the span, 0 to 1.
    start, end : ndarray, shape (3, k)
        Rows: position, velocity, acceleration.
    span_s : float

    Returns
    -------
    ndarray, shape (n, k)
    """
    scale = np.array([1.0, span_s, span_s**2])[:, None]
    p0, v0, a0 = start * scale
    p1, v1, a1 = end * scale
    d, dv, da = p1 - p0 - v0 - 0.5 * a0, v1 - v0 - a0, a1 - a0
    c3, c4, c5 = 10 * d - 4 * dv + 0.5 * da, -15 * d + 7 * dv - da, 6 * d - 3 * dv + 0.5 * da
    x = w[:, None]
    return np.asarray(p0 + x * (v0 + x * (0.5 * a0 + x * (c3 + x * (c4 + x * c5)))))


@dataclass(frozen=True, eq=False)
class Sagittal:
    """Angles of one leg by time, and what the paths need beside them.

    Parameters
    ----------
    body : Body
    shin, pitch : CubicSpline
        Shin angle and foot pitch in rad.
    edge_up, heel_up : CubicSpline
        Heights in m of the lower edge of the ball and of the outer heel over the ball's middle.
    go_s : float
        First movement of the start.
    """

    body: Body
    shin: CubicSpline
    pitch: CubicSpline
    edge_up: CubicSpline
    heel_up: CubicSpline
    go_s: float

    def locate_from_ball(self, time_s: FloatArray, forward_m: float, up_m: float) -> FloatArray:
        """A point of the rear foot relative to the ball, forward and up in world axes, (n, 2)."""
        c, s = np.cos(self.pitch(time_s)), np.sin(self.pitch(time_s))
        return np.stack((forward_m * c - up_m * s, forward_m * s + up_m * c), axis=-1)

    def locate_knee_from_ball(self, time_s: FloatArray) -> FloatArray:
        """Knee relative to the ball, forward and up in m, (n, 2)."""
        b = self.body
        ankle = self.locate_from_ball(
            time_s, b.ankle_from_heel_m - b.ball_from_heel_m, b.ankle_height_m - b.sole_radius_m
        )
        shin = self.shin(time_s)
        return np.asarray(ankle + b.shank_m * np.stack((np.cos(shin), np.sin(shin)), axis=-1))


@dataclass(frozen=True, eq=False)
class Arrival:
    """How the striking point arrives at touchdown, forward and up.

    Parameters
    ----------
    velocity_mps, acceleration_mps2 : ndarray, shape (2,)
        Beyond what turning of the foot alone gives it.
    """

    velocity_mps: FloatArray
    acceleration_mps2: FloatArray


AT_REST: Final = Arrival(np.zeros(2), np.zeros(2))
"""For stances without a touchdown, and to see what turning of the foot alone gives."""


def _compute_stopping_point(
    stance: Stance,
    high_m: float,
    arrival: Arrival,
    t: FloatArray,
    limits_s: tuple[float, float],
) -> FloatArray:
    """Forward slip and height over rest of the point that strikes, while it is stopped, (n, 2)."""
    since = t - stance.touchdown_s
    fall_s = 2.0 * (high_m + _SINK_M) / max(-arrival.velocity_mps[1], 0.05)
    # What comes down slowly is pressed down as the heel sinks, no faster.
    shortest_s, longest_s = limits_s
    fall_s = float(np.clip(fall_s, shortest_s, max(longest_s, stance.ground.sink_s)))
    slip_s = stance.ground.slip_s
    strikes_m = -0.5 * slip_s * arrival.velocity_mps[0], high_m
    rests_m = 0.0, -_SINK_M
    out = np.empty((len(t), 2))
    for k, stop_s in enumerate((slip_s, fall_s)):
        start = np.array([strikes_m[k], arrival.velocity_mps[k], arrival.acceleration_mps2[k]])
        end = np.array([rests_m[k], 0.0, 0.0])
        w = np.clip(since / stop_s, 0.0, 1.0)
        early = np.minimum(since, 0.0)
        out[:, k] = interpolate_hermite(w, start[:, None], end[:, None], stop_s)[:, 0]
        out[:, k] += early * start[1] + 0.5 * early**2 * start[2]
    return out


def _compute_heel_landing(
    leg: Sagittal, stance: Stance, arrival: Arrival, t: FloatArray
) -> FloatArray:
    """Heel-first landing: ball over its resting place while the heel is the pivot, (n, 2)."""
    b = leg.body
    pad_m = float(np.clip(-0.5 * _HEEL_STOP_S[0] * arrival.velocity_mps[1], *_HEEL_PAD_M))
    heel = _compute_stopping_point(stance, pad_m - _SINK_M, arrival, t, _HEEL_STOP_S)
    heel[:, 1] -= pad_m - _SINK_M
    arm = leg.locate_from_ball(t, b.sole_radius_m - b.ball_from_heel_m, 0.0)[:, 0]
    level = b.ball_from_heel_m - b.sole_radius_m
    roll = -b.sole_radius_m * leg.pitch(t)
    return np.asarray(heel + np.stack((roll - arm - level, -leg.heel_up(t)), axis=-1))


def compute_stance_path(
    leg: Sagittal, stance: Stance, arrival: Arrival, t: FloatArray
) -> FloatArray:
    """Ball of the foot in one stance, forward and up in m.

    Parameters
    ----------
    leg : Sagittal
    stance : Stance
    arrival : Arrival
    t : ndarray, shape (n,)
        Times in the stance in s; a little outside it is allowed.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    b, p = leg.body, stance.posture
    lead_s = compute_heel_lead_s(p)
    standing = not np.isfinite(stance.touchdown_s)
    reference = leg.go_s if standing else stance.touchdown_s
    roll = -b.sole_radius_m * (leg.pitch(t) - leg.pitch(reference))
    out = np.stack((stance.ball_m + roll, np.full(len(t), b.sole_radius_m)), axis=-1)
    if not standing and lead_s > 0.0:
        slip = _compute_stopping_point(stance, 0.0, arrival, t, stance.ground.stop_s)[:, 0]
        flat = np.stack((slip - b.sole_radius_m * leg.pitch(t), np.full(len(t), -_SINK_M)), axis=-1)
        weight = quintic_step((t - stance.touchdown_s - 0.5 * lead_s) / max(lead_s, 0.018))[:, None]
        out[:, 0] = stance.ball_m
        out = out + (1.0 - weight) * _compute_heel_landing(leg, stance, arrival, t) + weight * flat
    elif not standing:
        high_m = -float(leg.edge_up(stance.touchdown_s))
        out = out + _compute_stopping_point(stance, high_m, arrival, t, stance.ground.stop_s)
    if np.isfinite(stance.toe_off_s):
        w = np.clip((t - stance.toe_off_s) / stance.peel_s + 1.0, 0.0, 2.0)
        # From rest, then evenly faster: the real ball's rise speeds up through toe-off.
        toe = stance.toe_lift_rad * (3.0 * w**3 - 3.0 * w**4 + w**5)
        out[:, 0] += b.toe_m * (1.0 - np.cos(toe))
        out[:, 1] += b.toe_m * np.sin(toe) + _SINK_M * (not standing) * quintic_step(w)
    return out
