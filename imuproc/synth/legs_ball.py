"""Path of the ball of the foot: on the ground in stance, under the hip in swing.

The ball (metatarsal heads) is the centre of a short roller under the forefoot. It lands on its
outer edge, is stopped within some ms, rolls forward as the heel rises, and is lifted over the toes
at the end, while the toe tip stays until toe-off. All paths meet with equal position, velocity and
acceleration.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from imuproc.synth.legs_ankle import heel_lead_s
from imuproc.synth.plan import Body
from imuproc.synth.stances import Stance

FloatArray = NDArray[np.float64]

_SINK_M: Final = 0.003
_PROBE_S: Final = 2e-4
_SETTLE_S: Final = 0.012
_CLEAR_M: Final = 0.015
_BACK: Final = np.array([[1.0], [-1.0], [1.0]])  # derivatives seen backwards in time


def rise(w: FloatArray) -> FloatArray:
    """Quintic step from 0 to 1 with zero velocity and acceleration at both ends."""
    w = np.clip(w, 0.0, 1.0)
    return np.asarray(w**3 * (10.0 - 15.0 * w + 6.0 * w**2))


def hermite(w: FloatArray, start: FloatArray, end: FloatArray, span_s: float) -> FloatArray:
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
        Heights in m of the outer edge of the ball and of the outer heel over the ball's middle.
    go_s : float
        First movement of the start.
    """

    body: Body
    shin: CubicSpline
    pitch: CubicSpline
    edge_up: CubicSpline
    heel_up: CubicSpline
    go_s: float

    def from_ball(self, time_s: FloatArray, forward_m: float, up_m: float) -> FloatArray:
        """A point of the rear foot relative to the ball, forward and up in world axes, (n, 2)."""
        c, s = np.cos(self.pitch(time_s)), np.sin(self.pitch(time_s))
        return np.stack((forward_m * c - up_m * s, forward_m * s + up_m * c), axis=-1)

    def knee_from_ball(self, time_s: FloatArray) -> FloatArray:
        """Knee relative to the ball, forward and up in m, (n, 2)."""
        b = self.body
        ankle = self.from_ball(
            time_s, b.ankle_from_heel_m - b.ball_from_heel_m, b.ankle_height_m - b.sole_radius_m
        )
        shin = self.shin(time_s)
        return np.asarray(ankle + b.shank_m * np.stack((np.cos(shin), np.sin(shin)), axis=-1))


@dataclass(frozen=True, eq=False)
class Arrival:
    """Times in a stance, and the acceleration that the striking point arrives with in m/s²."""

    time_s: FloatArray
    acceleration_mps2: FloatArray = field(default_factory=lambda: np.zeros(2))


def _stopped(stance: Stance, high_m: float, slip_mps: float, arrival: Arrival) -> FloatArray:
    """Height over rest and forward slip of the point that strikes, while it is stopped, (n, 2)."""
    fall_mps = stance.posture.strike_speed_mps
    stop_s = max(2.0 * (high_m + _SINK_M) / fall_mps, 0.006)
    since = arrival.time_s - stance.touchdown_s
    start = np.array([[0.0, high_m], [slip_mps, -fall_mps], arrival.acceleration_mps2])
    end = np.array([[0.5 * slip_mps * stop_s, -_SINK_M], [0.0, 0.0], [0.0, 0.0]])
    path = hermite(np.clip(since / stop_s, 0.0, 1.0), start, end, stop_s)
    early = np.minimum(since, 0.0)[:, None]
    return np.asarray(path + early * start[1] + 0.5 * early**2 * start[2])


def _heel_landing(leg: Sagittal, stance: Stance, arrival: Arrival) -> FloatArray:
    """Heel-first landing: ball over its resting place while the heel is the pivot, (n, 2)."""
    t, b = arrival.time_s, leg.body
    heel = _stopped(stance, 0.0, 0.0, arrival)
    arm = leg.from_ball(t, b.sole_radius_m - b.ball_from_heel_m, 0.0)[:, 0]
    level = b.ball_from_heel_m - b.sole_radius_m
    roll = -b.sole_radius_m * leg.pitch(t)
    return np.asarray(heel + np.stack((roll - arm - level, -leg.heel_up(t)), axis=-1))


def toe_roll_s(stance: Stance, go_s: float) -> float:
    """How long before toe-off the ball begins to leave the ground while the toes still press."""
    contact_s = stance.toe_off_s - max(stance.touchdown_s, go_s)
    return stance.posture.toe_roll_share * min(contact_s, 0.7)


def stance_path(leg: Sagittal, stance: Stance, arrival: Arrival) -> FloatArray:
    """Ball of the foot in one stance, forward and up in m.

    Parameters
    ----------
    leg : Sagittal
    stance : Stance
    arrival : Arrival
        n times in the stance; a little outside it is allowed.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    b, p, t = leg.body, stance.posture, arrival.time_s
    lead_s = heel_lead_s(p)
    standing = not np.isfinite(stance.touchdown_s)
    reference = leg.go_s if standing else stance.touchdown_s
    roll = -b.sole_radius_m * (leg.pitch(t) - leg.pitch(reference))
    out = np.stack((stance.ball_m + roll, np.full(len(t), b.sole_radius_m)), axis=-1)
    if not standing and lead_s > 0.0:
        flat = np.stack((-b.sole_radius_m * leg.pitch(t), np.full(len(t), -_SINK_M)), axis=-1)
        weight = rise((t - stance.touchdown_s - 0.5 * lead_s) / max(lead_s, 0.018))[:, None]
        out[:, 0] = stance.ball_m
        out = out + (1.0 - weight) * _heel_landing(leg, stance, arrival) + weight * flat
    elif not standing:
        slip_mps = 0.25 * p.strike_speed_mps
        out = out + _stopped(stance, -float(leg.edge_up(stance.touchdown_s)), slip_mps, arrival)
    if np.isfinite(stance.toe_off_s):
        w = np.clip((t - stance.toe_off_s) / toe_roll_s(stance, leg.go_s) + 1.0, 0.0, 2.0)
        toe = 2.0 * np.radians(p.toe_lift_deg) * (w**3 - 0.5 * w**4)
        out[:, 0] += b.toe_m * (1.0 - np.cos(toe))
        out[:, 1] += b.toe_m * np.sin(toe) + _SINK_M * (not standing) * rise(w)
    return out


def _from_ground(leg: Sagittal, stance: Stance, t: FloatArray) -> FloatArray:
    return stance_path(leg, stance, Arrival(t))


def _state(path: Callable[[FloatArray], FloatArray], at_s: float) -> FloatArray:
    """Position, velocity, acceleration of a path at a time, (3, k)."""
    h = _PROBE_S
    x = path(at_s + h * np.arange(-2.0, 3.0))
    velocity = (x[0] - 8 * x[1] + 8 * x[3] - x[4]) / (12 * h)
    acceleration = (-x[0] + 16 * x[1] - 30 * x[2] + 16 * x[3] - x[4]) / (12 * h * h)
    return np.stack((x[2], velocity, acceleration))


def _thigh(
    ends: tuple[FloatArray, FloatArray], lift_rad: float, w: FloatArray, span_s: float
) -> FloatArray:
    """Thigh angle (rad, forward of straight down) in swing, lifted to a stated angle."""
    start = np.array([[ends[0][0]], [ends[0][1]], [0.0]])
    end = np.array([[ends[1][0]], [ends[1][1]], [0.0]])
    angle = hermite(w, start, end, span_s)[:, 0]
    bump = 64.0 * (w * (1.0 - w)) ** 3
    missing = lift_rad - float(angle.max())
    return np.asarray(angle + bump * missing * (0.35 + w * 1.3))


@dataclass(frozen=True, eq=False)
class Swing:
    """One swing of a foot.

    Parameters
    ----------
    path : callable
        Ball of the foot by time, forward and up in m, (n,) to (n, 2).
    jolt_mps2 : ndarray, shape (2,)
        Acceleration at touchdown beyond what the stance path has of itself.
    """

    path: Callable[[FloatArray], FloatArray]
    jolt_mps2: FloatArray


def _local(w: FloatArray, miss: FloatArray, span_s: float) -> FloatArray:
    """A bend that starts with a stated position and velocity and dies away within the swing."""
    slow = 1.0 - rise(w)
    quick = span_s * w * np.exp(-((w / 0.2) ** 2))
    return np.asarray(slow * miss[0] + quick * miss[1])


def _clearance_lift(
    leg: Sagittal, path: Callable[[FloatArray], FloatArray], t: FloatArray
) -> float:
    """How much the swing must be raised so that heel and toe tip keep off the ground, in m."""
    inner = t[len(t) // 8 : -len(t) // 8]
    w = (inner - t[0]) / (t[-1] - t[0])
    up = path(inner)[:, 1] - leg.body.sole_radius_m
    sole = (
        leg.from_ball(inner, leg.body.toe_m, 0.0)[:, 1],
        leg.from_ball(inner, -leg.body.ball_from_heel_m, 0.0)[:, 1],
    )
    lowest = up + np.minimum(*sole)
    return float(np.max(np.maximum(_CLEAR_M - lowest, 0.0) / (64.0 * (w * (1.0 - w)) ** 3)))


def _thigh_state(knee: FloatArray, hip: FloatArray) -> FloatArray:
    """Thigh angle (rad, forward of straight down) and its rate from knee and hip states."""
    across, speed = knee[0] - hip[0], knee[1] - hip[1]
    rate = (across[0] * speed[1] - across[1] * speed[0]) / float(across @ across)
    return np.array([np.arctan2(across[0], -across[1]), rate])


def make_swing(leg: Sagittal, between: tuple[Stance, Stance], hip: CubicSpline) -> Swing:
    """Ball of the foot in one swing: hip, thigh, shank and foot, bent to meet both stances.

    Parameters
    ----------
    leg : Sagittal
    between : tuple of Stance
        Before and after.
    hip : CubicSpline
        Hip joint of this side, forward and up in m, by time.

    Returns
    -------
    Swing
    """
    before, after = between
    t0, span_s = before.toe_off_s, after.touchdown_s - before.toe_off_s
    ends = []
    for stance, at_s in ((before, t0), (after, after.touchdown_s)):
        ball = _state(partial(_from_ground, leg, stance), at_s)
        ends.append((ball, ball + _state(leg.knee_from_ball, at_s), _state(hip, at_s)))
    thigh = _thigh_state(*ends[0][1:]), _thigh_state(*ends[1][1:])
    at = np.linspace(0.0, 1.0, max(32, int(span_s * 500.0)))
    angle = _thigh(thigh, np.radians(after.posture.knee_lift_deg), at, span_s)
    reach = leg.body.thigh_m * np.stack((np.sin(angle), -np.cos(angle)), axis=-1)
    free = CubicSpline(t0 + at * span_s, reach + hip(t0 + at * span_s))
    first, last = (
        np.stack((knee[0] - free(s), knee[1] - free(s, 1), 0.0 * knee[2]))
        for (_, knee, _), s in zip(ends, (t0, after.touchdown_s), strict=True)
    )

    lift_m = 0.0

    def raw(t: FloatArray) -> FloatArray:
        w = (t - t0)[:, None] / span_s
        moved = free(t) + _local(w, first, span_s) + _local(1.0 - w, last * _BACK, span_s)
        bump = lift_m * 64.0 * (np.clip(w, 0.0, 1.0) * np.clip(1.0 - w, 0.0, 1.0)) ** 3
        return np.asarray(moved + bump * np.array([0.0, 1.0]) - leg.knee_from_ball(t))

    lift_m = _clearance_lift(leg, raw, t0 + at * span_s)

    start_jump = ends[0][0][2] - _state(raw, t0)[2]

    def path(t: FloatArray) -> FloatArray:
        since = (t - t0)[:, None]
        fading = np.exp(-np.maximum(since, 0.0) / _SETTLE_S)
        return np.asarray(raw(t) + 0.5 * start_jump * since**2 * fading)

    jolt = _state(path, after.touchdown_s)[2] - ends[1][0][2]
    return Swing(path, jolt)
