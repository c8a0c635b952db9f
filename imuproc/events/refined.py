"""Touchdown and toe-off from the motion of points of the foot, to a few milliseconds.

Touchdown: the point that strikes first is arrested. When the foot comes in clearly toe up that is
the heel, whose upward acceleration peaks just after it meets the ground; else it is the outer edge
of the ball of the foot, whose fall has stopped by half a fixed share of the arrest's own duration
after contact. Both marks scale with how hard the arrest is, so that soft shoes, optical smoothing
and spikes read alike; the pitch of the foot blends from one to the other.

Toe-off: the ball of the foot leaves the ground 15 to 30 ms before the force ends, because the foot
rolls off over the toes. The force is gone when the line of the sole at the toes rises faster than
a fixed share of the running speed.

Shares and offsets were read off 11 runners with a force plate at 2.5 to 4.5 m/s, both feet, all
strike types (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; 20 N above local zero), leaving one
runner out at a time: touchdown 0.0 ± 2.7 ms, toe-off -0.1 ± 4.7 ms on the optical motion itself.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import SIDES, Side, foot_of
from imuproc.dsp.crossings import crossing_times
from imuproc.dsp.filters import derivative, low_pass
from imuproc.dsp.rotations import quat_rotate

FloatArray = NDArray[np.float64]

_EVIDENCE = ("strike_speed_mps", "arrest_s", "heel_weight")
_STILL_FALLING_MPS = 0.25
_FLAT_AFTER_S = 0.03
_LONGEST_ONSET_S = 0.015


@dataclass(frozen=True)
class RefineSettings:
    """Geometry of the foot and shares of the event marks.

    Parameters
    ----------
    heel_offset_m, ball_edge_offset_m, toe_offset_m : tuple of float
        Forward, outward and upward from the pivot of the ball (near the joints of the toes) to the
        heel's sole, to the outer edge of the ball's sole and to the toes, in m.
    cutoff_hz : float
        Low-pass of point velocities.
    heel_pitch_deg, heel_blend_deg : float
        Foot pitch above which the heel strikes first, and how gradually.
    heel_clearance_m : float
        Largest height of a heel that strikes first over its lowest place in the stance.
    heel_delay_s : float
        From heel contact to the peak of its upward acceleration.
    arrest_share : float
        From contact to half arrest of the ball, as a share of the arrest's duration.
    toe_speed_share : float
        Vertical speed of the sole at the toes at the end of force, as a share of running speed.
    toe_off_lag_s : float
        From that mark to the end of force.
    touchdown_u_s : tuple of float
        Standard uncertainty of a touchdown with the ball and with the heel first.
    arrest_u_share : float
        Part of the arrest's duration that adds to it.
    touchdown_common_u_s : float
        Part that all touchdowns of a foot share.
    toe_off_u_s, toe_speed_u_share, toe_speed_u_mps : float
        Standard uncertainty of toe-off: a constant, and that of the vertical speed at the end of
        force (as a share of running speed: its SD over runners; and as a constant), over how fast
        that speed grows.
    """

    heel_offset_m: tuple[float, float, float] = (-0.213, 0.0, -0.047)
    ball_edge_offset_m: tuple[float, float, float] = (-0.02, 0.03, -0.047)
    toe_offset_m: tuple[float, float, float] = (0.06, 0.0, 0.008)
    cutoff_hz: float = 50.0
    heel_pitch_deg: float = 7.0
    heel_clearance_m: float = 0.015
    heel_blend_deg: float = 1.5
    heel_delay_s: float = 0.0045
    arrest_share: float = 0.7
    toe_speed_share: float = 0.15
    toe_off_lag_s: float = 0.0023
    touchdown_u_s: tuple[float, float] = (0.002, 0.004)
    arrest_u_share: float = 0.1
    touchdown_common_u_s: float = 0.0015
    toe_off_u_s: float = 0.002
    toe_speed_u_share: float = 0.033
    toe_speed_u_mps: float = 0.06


@dataclass(frozen=True, eq=False)
class _FootPoints:
    """Vertical velocities of points of one foot, and its pitch."""

    time_s: FloatArray
    rate_hz: float
    ball_mps: FloatArray
    heel_mps: FloatArray
    toe_mps: FloatArray
    heel_accel_mps2: FloatArray
    ball_accel_mps2: FloatArray
    pitch_rad: FloatArray


def refined_contacts(contacts: Contacts, motion: Motion, settings: RefineSettings) -> Contacts:
    """Contacts with touchdown and toe-off from the foot's motion.

    Parameters
    ----------
    contacts : Contacts
        Coarse contacts.
    motion : Motion
        Solved with them.
    settings : RefineSettings

    Returns
    -------
    Contacts
        Feet without motion keep their coarse events. Evidence added: ``strike_speed_mps`` (fall of
        the ball before touchdown), ``arrest_s`` (duration of its arrest), ``heel_weight`` (1 heel
        first, 0 ball first), ``running_speed_mps``, ``toe_growth_mps2`` (growth of the toes'
        vertical speed at toe-off), ``touchdown_random_u_s``.
    """
    count = len(contacts)
    columns = {
        name: np.full(count, np.nan)
        for name in (*_EVIDENCE, "running_speed_mps", "toe_growth_mps2")
    }
    down, off = np.full(count, np.nan), np.full(count, np.nan)
    for side in SIDES:
        foot = motion.segments.get(foot_of(side))
        rows = np.flatnonzero(contacts.side == side)
        if foot is None or len(rows) == 0:
            continue
        points = _foot_points(motion.time_s, foot, side, settings)
        speed = running_speed(motion.time_s, foot, contacts.take(rows))
        for row, v in zip(rows, speed, strict=True):
            mark = _touchdown(points, contacts.touchdown_s[row], contacts.toe_off_s[row], settings)
            down[row], *evidence = mark
            off[row], growth = _toe_off(points, down[row], contacts.toe_off_s[row], v, settings)
            for name, value in zip(columns, (*evidence, v, growth), strict=True):
                columns[name][row] = value
    return _with_events(contacts, motion, down, off, columns, settings)


def _with_events(
    contacts: Contacts,
    motion: Motion,
    down: FloatArray,
    off: FloatArray,
    columns: dict[str, FloatArray],
    settings: RefineSettings,
) -> Contacts:
    found_down, found_off = np.isfinite(down), np.isfinite(off)
    ball_u, heel_u = settings.touchdown_u_s
    own_u = ball_u + (heel_u - ball_u) * columns["heel_weight"]
    own_u = np.hypot(own_u, settings.arrest_u_share * columns["arrest_s"])
    random_u = np.where(found_down, own_u, contacts.touchdown_u_s)
    down_u = np.hypot(random_u, settings.touchdown_common_u_s)
    speed_u = np.hypot(
        settings.toe_speed_u_share * columns["running_speed_mps"], settings.toe_speed_u_mps
    )
    off_u = np.hypot(settings.toe_off_u_s, speed_u / columns["toe_growth_mps2"])
    entry = HistoryEntry(
        "events.refined",
        f"{int(found_down.sum())} touchdowns and {int(found_off.sum())} toe-offs from foot motion.",
        vars(settings),
    )
    return replace(
        contacts,
        touchdown_s=np.where(found_down, down, contacts.touchdown_s),
        toe_off_s=np.where(found_off, off, contacts.toe_off_s),
        touchdown_u_s=np.where(found_down, down_u, contacts.touchdown_u_s),
        toe_off_u_s=np.where(found_off, off_u, contacts.toe_off_u_s),
        evidence={**contacts.evidence, **columns, "touchdown_random_u_s": random_u},
        history=(*motion.history, entry),
    )


def _foot_points(
    time_s: FloatArray, foot: SegmentMotion, side: Side, settings: RefineSettings
) -> _FootPoints:
    rate_hz = (len(time_s) - 1) / (time_s[-1] - time_s[0])
    outward = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
    cutoff_hz = min(settings.cutoff_hz, 0.4 * rate_hz)

    def vertical(offset: tuple[float, float, float]) -> FloatArray:
        lever = quat_rotate(foot.quat_wxyz, foot.lever_m + outward * offset)
        velocity = foot.velocity_mps[:, 2] + np.cross(foot.rate_world_radps, lever)[:, 2]
        return low_pass(velocity, cutoff_hz, rate_hz)

    ball = vertical(settings.ball_edge_offset_m)
    heel = vertical(settings.heel_offset_m)
    return _FootPoints(
        time_s=time_s,
        rate_hz=rate_hz,
        ball_mps=ball,
        heel_mps=heel,
        toe_mps=vertical(settings.toe_offset_m),
        heel_accel_mps2=derivative(heel, rate_hz),
        ball_accel_mps2=derivative(ball, rate_hz),
        pitch_rad=foot.pitch_rad,
    )


def running_speed(time_s: FloatArray, foot: SegmentMotion, own: Contacts) -> FloatArray:
    """Running speed at each contact of one foot from its strides, in m/s, shape (m,).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    foot : SegmentMotion
    own : Contacts
        Of that foot.

    Returns
    -------
    ndarray, shape (m,)
        Stride means carried to each toe-off by straight lines; NaN with fewer than two contacts.
    """
    if len(own) < 2:
        return np.full(len(own), np.nan)
    middle = 0.5 * (own.touchdown_s + own.toe_off_s)
    way = np.concatenate(([0.0], np.cumsum(foot.velocity_mps[:-1, 0] * np.diff(time_s))))
    mean = np.diff(np.interp(middle, time_s, way)) / np.diff(middle)
    centre = 0.5 * (middle[1:] + middle[:-1])
    if len(mean) == 1:
        return np.full(len(own), mean[0])
    # The first and the last toe-off lie outside the strides' middles: go on as the strides do.
    line = np.searchsorted(centre, own.toe_off_s).clip(1, len(centre) - 1)
    share = (own.toe_off_s - centre[line - 1]) / (centre[line] - centre[line - 1])
    speed = mean[line - 1] + share * (mean[line] - mean[line - 1])
    return np.asarray(np.maximum(speed, 0.5 * mean.min()))


def _touchdown(
    points: _FootPoints, coarse_s: float, toe_off_s: float, settings: RefineSettings
) -> tuple[float, float, float, float]:
    """Touchdown in s, fall speed, duration of the arrest, weight of the heel; NaN if not seen."""
    low, middle = np.searchsorted(
        points.time_s, [coarse_s - 0.07, coarse_s + 0.4 * (toe_off_s - coarse_s)]
    )
    arrest = _ball_arrest(points, int(low), int(middle))
    if arrest is None:
        return np.nan, np.nan, np.nan, np.nan
    half_s, fall, arrest_s = arrest
    ball_s = half_s - settings.arrest_share * arrest_s
    mark_s = _heel_mark(points, half_s, fall)
    weight = _heel_weight(points, mark_s, half_s, settings)
    if weight < 0.01:
        return ball_s, fall, arrest_s, 0.0
    heel_s = mark_s - settings.heel_delay_s
    return weight * heel_s + (1.0 - weight) * ball_s, fall, arrest_s, weight


def _heel_weight(
    points: _FootPoints, mark_s: float, half_s: float, settings: RefineSettings
) -> float:
    """How surely the heel struck first: toe up at its mark, and the heel on the ground there."""
    pitch = float(np.interp(mark_s, points.time_s, points.pitch_rad))
    steepness = np.radians(settings.heel_blend_deg)
    toe_up = expit((pitch - np.radians(settings.heel_pitch_deg)) / steepness)
    low, high = np.searchsorted(points.time_s, [mark_s, half_s + _FLAT_AFTER_S])
    sinking = np.cumsum(points.heel_mps[low:high]) / points.rate_hz
    on_ground = len(sinking) > 0 and -float(sinking.min()) < settings.heel_clearance_m
    return float(toe_up) if on_ground else 0.0


def _ball_arrest(points: _FootPoints, low: int, middle: int) -> tuple[float, float, float] | None:
    """Half arrest of the ball in s, its fall before in m/s, and the arrest's duration in s.

    Sought backwards from mid-stance, where the ball rests, to the last time at which it still
    fell: what the leg does to the foot in the air is no arrest. The fall is that at the onset
    (where the acceleration reaches a quarter of its peak).
    """
    falling = np.flatnonzero(points.ball_mps[low:middle] < -_STILL_FALLING_MPS)
    if len(falling) == 0:
        return None
    landed = low + int(falling[-1])
    near = slice(max(low, landed - int(0.02 * points.rate_hz)), landed + 2)
    hardest = near.start + int(np.argmax(points.ball_accel_mps2[near]))
    peak = float(points.ball_accel_mps2[hardest])
    earliest = max(low, hardest - int(_LONGEST_ONSET_S * points.rate_hz))
    gentle = np.flatnonzero(points.ball_accel_mps2[earliest : hardest + 1] < 0.25 * peak)
    onset = earliest + int(gentle[-1]) if len(gentle) else earliest
    fall = -float(points.ball_mps[onset])
    later = min(hardest + int(0.03 * points.rate_hz) + 2, len(points.time_s))
    half_s = _first_rise(points.time_s[onset:later], points.ball_mps[onset:later], -0.5 * fall)
    if not (fall > 0.1 and np.isfinite(half_s) and peak > 0.0):
        return None
    return half_s, fall, fall / peak


def _heel_mark(points: _FootPoints, half_s: float, fall_mps: float) -> float:
    """Peak of the heel's upward acceleration before the ball comes down, refined by a parabola.

    A foot that lands toe up needs the time in which its ball falls from the height that its pitch
    gives it; the mark is sought in half as much again.
    """
    pitch = float(np.interp(half_s - 0.04, points.time_s, points.pitch_rad))
    lead_s = 0.19 * max(np.sin(pitch), 0.0) / max(fall_mps, 0.5)
    reach_s = float(np.clip(1.5 * lead_s, 0.045, 0.09))
    low, high = np.searchsorted(points.time_s, [half_s - reach_s, half_s + 0.002])
    peak = int(low + np.argmax(points.heel_accel_mps2[low : max(high, low + 1)]))
    if not 0 < peak < len(points.time_s) - 1:
        return float(points.time_s[peak])
    left, top, right = points.heel_accel_mps2[peak - 1 : peak + 2]
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float(points.time_s[peak] + np.clip(shift, -0.5, 0.5) / points.rate_hz)


def _toe_off(
    points: _FootPoints,
    touchdown_s: float,
    coarse_s: float,
    speed_mps: float,
    settings: RefineSettings,
) -> tuple[float, float]:
    """Instant at which the toes rise faster than their share of running speed, and their growth.

    Sought from mid-stance on to well after any toe-off: the first such rise after the line of the
    sole points most into the ground, which is just before it leaves. The growth is in m/s².
    """
    low, high = np.searchsorted(
        points.time_s, [touchdown_s + 0.4 * (coarse_s - touchdown_s), coarse_s + 0.1]
    )
    if not (high - low > 3 and np.isfinite(speed_mps)):
        return np.nan, np.nan
    fastest = int(low + np.argmax(points.toe_mps[low:high]))
    deepest = int(low + np.argmin(points.toe_mps[low : fastest + 1]))
    early = slice(deepest, fastest + 1)
    level = settings.toe_speed_share * speed_mps
    rises = crossing_times(points.time_s[early], points.toe_mps[early], level, "rising")
    if len(rises) == 0:
        return np.nan, np.nan
    around = rises[0] + np.array([-0.005, 0.005])
    growth = float(np.diff(np.interp(around, points.time_s, points.toe_mps))[0]) / 0.01
    return float(rises[0] + settings.toe_off_lag_s), max(growth, 1.0)


def _first_rise(time_s: FloatArray, x: FloatArray, level: float) -> float:
    """First time at which a signal rises through a level; NaN if it does not."""
    times = crossing_times(time_s, x, level, "rising")
    return float(times[0]) if len(times) else float("nan")
