"""Path of the ball of the foot in swing: hip, thigh, shank and foot, bent to meet both stances."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from imuproc.dsp.easing import quintic_step
from imuproc.synth.legs.ball import (
    AT_REST,
    Arrival,
    Sagittal,
    compute_stance_path,
    interpolate_hermite,
)
from imuproc.synth.stances import Posture, Stance

FloatArray = NDArray[np.float64]
Path = Callable[[FloatArray], FloatArray]

_PROBE_S: Final = 2e-4
_FREE_MPS2: Final = (np.array([-60.0, -45.0]), np.array([60.0, -20.0]))
"""Forward and upward acceleration of the striking point just before touchdown, least and largest:
upward as read off 11 runners at 4.5 m/s (-20 to -45 m/s², Fukuchi et al. 2017)."""
_APPROACH_HZ: Final = 40.0
_EVEN_S: Final = 0.020
_LOW_LIFT_M: Final = 0.05
_SETTLE_S: Final = 0.020
_CLEAR_M: Final = 0.012
_MOST_LIFT_M: Final = 0.13
_STRIKE_MPS: Final = (0.3, 3.5)
_SLIP_MPS: Final = (0.0, 3.0)
"""Least and greatest downward and forward speed of the striking point at touchdown."""
_THIGH_RADPS: Final = 6.8
"""Fastest turning back of the thigh at touchdown."""


@dataclass(frozen=True, eq=False)
class Swing:
    """One swing of a foot.

    Parameters
    ----------
    path : callable
        Ball of the foot by time, forward and up in m, (n,) to (n, 2).
    arrival : Arrival
        How its striking point arrives at touchdown.
    """

    path: Path
    arrival: Arrival


class _Strike(NamedTuple):
    """How a leg arrives at touchdown; states are position, velocity, acceleration, (3, 2)."""

    knee: FloatArray
    ball: FloatArray
    """State of the ball of the foot from turning of the foot alone."""
    velocity_mps: FloatArray
    """Of the striking point, forward and up."""


def _evaluate_state(path: Path, at_s: float) -> FloatArray:
    """Position, velocity, acceleration of a path at a time, (3, k)."""
    h = _PROBE_S
    x = path(at_s + h * np.arange(-2.0, 3.0))
    velocity = (x[0] - 8 * x[1] + 8 * x[3] - x[4]) / (12 * h)
    acceleration = (-x[0] + 16 * x[1] - 30 * x[2] + 16 * x[3] - x[4]) / (12 * h * h)
    return np.stack((x[2], velocity, acceleration))


def _compute_thigh_motion(knee: FloatArray, hip: FloatArray) -> tuple[float, float]:
    """Angle of the thigh, forward of straight down, in rad and its rate in rad/s."""
    across, speed = knee[0] - hip[0], knee[1] - hip[1]
    rate = (across[0] * speed[1] - across[1] * speed[0]) / (across @ across)
    return float(np.arctan2(across[0], -across[1])), float(rate)


def _compute_strike(leg: Sagittal, after: Stance, hip: FloatArray) -> _Strike:
    """How the leg arrives at a touchdown.

    The thigh turns back fast enough for the foot to slip forward as the posture says, but no
    faster than a hip can; how fast the foot comes down follows from hip, thigh, shank and foot.
    """
    at_s = after.touchdown_s
    ball = _evaluate_state(partial(compute_stance_path, leg, after, AT_REST), at_s)
    knee = ball + _evaluate_state(leg.locate_knee_from_ball, at_s)
    across = knee[0] - hip[0]
    rate = (knee[1, 0] + after.posture.slip_speed_mps - hip[1, 0]) / -across[1]
    rate = float(np.clip(rate, -_THIGH_RADPS, 0.0))
    strike = hip[1] + rate * np.array([-across[1], across[0]]) - knee[1]
    strike[0] = np.clip(strike[0], *_SLIP_MPS)
    if after.ground.strike_mps is None:
        strike[1] = np.clip(strike[1], -_STRIKE_MPS[1], -_STRIKE_MPS[0])
    else:
        strike[1] = -after.ground.strike_mps
    knee[1] += strike
    # The arriving point lies as far behind its rest as it slips; see ball._compute_stopping_point.
    knee[0, 0] -= 0.5 * after.ground.slip_s * strike[0]
    return _Strike(knee, ball, strike)


def _fit_thigh_angle(
    ends: tuple[tuple[float, float], tuple[float, float]], posture: Posture, span_s: float
) -> CubicSpline:
    """Thigh angle (rad, forward of straight down) by share of the swing, lifted as stated."""
    highest_at = 0.57 + 0.12 * (1.0 - posture.upright)
    lift = max(np.radians(posture.knee_lift_deg), ends[1][0] + 0.05)
    first: tuple[Literal[1], FloatArray] = (1, np.array(ends[0][1] * span_s))
    last: tuple[Literal[1], FloatArray] = (1, np.array(ends[1][1] * span_s))
    values = (ends[0][0], lift, ends[1][0])
    return CubicSpline((0.0, highest_at, 1.0), values, bc_type=(first, last))


def _make_local_bend(
    w: FloatArray, position: FloatArray, velocity: FloatArray, span_s: float
) -> FloatArray:
    """A bend that starts with a stated position and velocity and dies away within the swing."""
    quick = span_s * w * np.exp(-((w / 0.2) ** 2))
    return np.asarray((1.0 - quintic_step(w)) * position + quick * velocity)


def _compute_clearance_lift_m(leg: Sagittal, path: Path, t: FloatArray) -> float:
    """How much the swing must be raised so that heel and toe tip keep off the ground, in m."""
    inner = t[len(t) // 8 : -len(t) // 8]
    w = (inner - t[0]) / (t[-1] - t[0])
    up = path(inner)[:, 1] - leg.body.sole_radius_m
    toe = leg.locate_from_ball(inner, leg.body.toe_m, 0.0)[:, 1]
    heel = leg.locate_from_ball(inner, -leg.body.ball_from_heel_m, 0.0)[:, 1]
    missing = np.maximum(_CLEAR_M - up - np.minimum(toe, heel), 0.0)
    return min(float(np.max(missing / _compute_hump(w))), _MOST_LIFT_M)


def _compute_hump(w: FloatArray) -> FloatArray:
    """1 through the middle of the swing, 0 at both ends."""
    return np.asarray(quintic_step(w / 0.3) * quintic_step((1.0 - w) / 0.3))


def _compute_free_limits_mps2(strike_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least and largest acceleration before touchdown; a foot that lands slowly slows down before.

    Else it would come from below the ground.
    """
    least, largest = _FREE_MPS2
    slowest = np.array([least[0], max(least[1], -_APPROACH_HZ * -strike_mps[1])])
    return slowest, np.maximum(largest, slowest + np.array([0.0, 5.0]))


def _ease_ends(
    path: Path,
    span: tuple[float, float],
    ends: tuple[FloatArray, FloatArray],
    strike_mps: FloatArray,
) -> Path:
    """The path with the acceleration that the stance before ends with, and a free fall at the end.

    A foot in the air does not brake before the ground does: it still speeds up downward.
    """
    t0, t1 = span
    jump = ends[0] - _evaluate_state(path, t0)[2]
    braking = _evaluate_state(path, t1)[2] - ends[1]
    excess = braking - np.clip(braking, *_compute_free_limits_mps2(strike_mps))

    def compute_eased_path(t: FloatArray) -> FloatArray:
        since, until = (t - t0)[:, None], (t - t1)[:, None]
        fading = np.exp(-np.maximum(since, 0.0) / _SETTLE_S)
        coming = np.exp(np.minimum(until, 0.0) / _EVEN_S)
        bends = jump * since**2 * fading - excess * until**2 * coming
        return np.asarray(path(t) + 0.5 * bends)

    return compute_eased_path


def _make_low_swing(
    leg: Sagittal,
    after: Stance,
    left: FloatArray,
    span: tuple[float, float],
    hip: FloatArray,
) -> Swing:
    """Out of the start: the foot is carried low over the ground on the shortest smooth way."""
    (t0, t1), lands = span, after.touchdown_s
    strike = _compute_strike(leg, after, hip)
    ball = strike.knee[0] - leg.locate_knee_from_ball(np.array([lands]))[0]
    falling = np.array(
        [0.0, float(np.mean([low[1] for low in _compute_free_limits_mps2(strike.velocity_mps)]))]
    )
    landing = np.stack((ball, strike.ball[1] + strike.velocity_mps, strike.ball[2] + falling))

    def compute_low_path(t: FloatArray) -> FloatArray:
        w = (t - t0) / (t1 - t0)
        lifted = _LOW_LIFT_M * 64.0 * (np.clip(w, 0.0, 1.0) * np.clip(1.0 - w, 0.0, 1.0)) ** 3
        path = interpolate_hermite(w, left, landing, t1 - t0)
        return np.asarray(path + lifted[:, None] * np.array([0.0, 1.0]))

    return Swing(compute_low_path, Arrival(strike.velocity_mps, falling))


def make_swing(
    leg: Sagittal, between: tuple[Stance, Stance], hip: CubicSpline, landed: Arrival
) -> Swing:
    """Ball of the foot in one swing.

    Parameters
    ----------
    leg : Sagittal
    between : tuple of Stance
        Before and after.
    hip : CubicSpline
        Hip joint of this side, forward and up in m, by time.
    landed : Arrival
        How the foot had arrived in the stance before.

    Returns
    -------
    Swing
        Meets both stances with equal position, velocity and acceleration. The thigh takes up the
        few cm by which hips and feet do not fit.
    """
    before, after = between
    t0, t1 = before.toe_off_s, after.touchdown_s
    span_s, hips = t1 - t0, (_evaluate_state(hip, t0), _evaluate_state(hip, t1))
    left = _evaluate_state(partial(compute_stance_path, leg, before, landed), t0)
    if before.kind == "ready":
        return _make_low_swing(leg, after, left, (t0, t1), hips[1])
    knee0 = left + _evaluate_state(leg.locate_knee_from_ball, t0)
    strike = _compute_strike(leg, after, hips[1])
    ends = _compute_thigh_motion(knee0, hips[0]), _compute_thigh_motion(strike.knee, hips[1])
    thigh = _fit_thigh_angle(ends, after.posture, span_s)

    def compute_free_path(t: FloatArray) -> FloatArray:
        angle = thigh((t - t0) / span_s)
        return np.asarray(
            hip(t) + leg.body.thigh_m * np.stack((np.sin(angle), -np.cos(angle)), axis=-1)
        )

    miss0 = knee0 - _evaluate_state(compute_free_path, t0)
    miss1 = strike.knee - _evaluate_state(compute_free_path, t1)

    def compute_bent_path(t: FloatArray, lift_m: float = 0.0) -> FloatArray:
        w = (t - t0)[:, None] / span_s
        bent = _make_local_bend(w, miss0[0], miss0[1], span_s)
        bent = bent + _make_local_bend(1.0 - w, miss1[0], -miss1[1], span_s)
        lifted = lift_m * _compute_hump(w) * np.array([0.0, 1.0])
        return np.asarray(compute_free_path(t) + bent + lifted - leg.locate_knee_from_ball(t))

    cleared = partial(
        compute_bent_path,
        lift_m=_compute_clearance_lift_m(leg, compute_bent_path, np.linspace(t0, t1, 120)),
    )
    path = _ease_ends(cleared, (t0, t1), (left[2], strike.ball[2]), strike.velocity_mps)
    falling = _evaluate_state(path, t1)[2] - strike.ball[2]
    return Swing(path, Arrival(strike.velocity_mps, falling))
