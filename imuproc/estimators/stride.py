"""Step length and speed from the displacement of each foot's ball over its strides.

One foot alone gives strides (from its ball at one contact to its ball at the next). Two successive
step lengths sum up to a stride, and speed changes smoothly from step to step; together they give
each step's length by least squares, with its covariance.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import SIDES, Side, foot_of
from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.rotations import quat_rotate
from imuproc.estimators.figures import Figure, missing
from imuproc.estimators.timing import next_step

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class StrideSettings:
    """What is assumed about strides and steps, one standard deviation each.

    Parameters
    ----------
    stride_u_m : float
        Of one stride's length.
    speed_bend_mps : float
        Of the change of the speed gain from one step to the next: 0.15 to 0.41 m/s in 11 runners
        at 2.5 m/s, their left-right differences included (Fukuchi et al. 2017, open data).
    asymmetry_m : float
        Of the steady difference between left and right step length: half of it goes to each.
    """

    stride_u_m: float = 0.035
    speed_bend_mps: float = 0.3
    asymmetry_m: float = 0.03


def ball_velocity(segment: SegmentMotion) -> FloatArray:
    """Velocity of the ball of the foot in m/s, world axes, shape (n, 3).

    Parameters
    ----------
    segment : SegmentMotion
        A foot.
    """
    lever = quat_rotate(
        segment.quat_wxyz, np.broadcast_to(segment.lever_m, (len(segment.pitch_rad), 3))
    )
    # d(lever)/dt by the orientation's own change keeps the two consistent.
    return np.asarray(segment.velocity_mps + _rate_of(lever, segment))


def _rate_of(lever: FloatArray, segment: SegmentMotion) -> FloatArray:
    return np.cross(segment.rate_world_radps, lever)


def step_figures(
    motion: Motion,
    contacts: Contacts,
    settings: StrideSettings,
    doubt_m: Mapping[Side, FloatArray] | None = None,
) -> dict[str, Figure]:
    """Step length and speed.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts
    settings : StrideSettings
    doubt_m : mapping from Side to ndarray, shape (k - 1,), optional
        Further standard uncertainty of each foot's strides in m; infinite ones are left out.

    Returns
    -------
    dict from column name to Figure
    """
    count = len(contacts)
    follows = next_step(contacts)
    strides = _stride_lengths(motion, contacts)
    stride_u = np.full(count, settings.stride_u_m)
    for side, doubt in (doubt_m or {}).items():
        rows = np.flatnonzero(contacts.side == side)[:-1]
        stride_u[rows] = np.hypot(stride_u[rows], doubt)
    usable = np.isfinite(strides) & np.isfinite(stride_u)
    usable[:-1] &= follows[:-1] & np.append(follows[1:-1], False) if count > 1 else False
    step_s = np.append(np.diff(contacts.touchdown_s), np.nan)
    if not usable.any():
        return {"step_length_m": missing(count), "speed_mps": missing(count)}
    known = _Known(strides, stride_u, usable, follows, settings.speed_bend_mps)
    length, spread = _solve_lengths(known, step_s)
    random_u = contacts.evidence.get("touchdown_random_u_s", contacts.touchdown_u_s)
    length_u, speed_u = _touchdown_parts(known, step_s, random_u)
    # What sensors miss in every stride alike does not average out: half of it stays in each step.
    common = np.full(count, 0.25 * float(np.median((stride_u - settings.stride_u_m)[usable])))
    parts = {
        "stride": spread,
        "clipping": common,
        "asymmetry": np.full(count, settings.asymmetry_m / 2.0),
    }
    return {
        "step_length_m": Figure(length, {**parts, "touchdown": length_u}),
        "speed_mps": Figure(
            length / step_s,
            {**{name: part / step_s for name, part in parts.items()}, "touchdown": speed_u},
        ),
    }


@dataclass(frozen=True, eq=False)
class _Known:
    """Strides in m and their uncertainty, which of them count, which contacts a step follows."""

    strides: FloatArray
    stride_u: FloatArray
    usable: NDArray[np.bool_]
    follows: NDArray[np.bool_]
    bend_mps: float


def _touchdown_parts(
    known: _Known, step_s: FloatArray, random_u: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far lengths (m) and speeds (m/s) move with each touchdown's own uncertainty."""
    plain, _ = _solve_lengths(known, step_s)
    length_variance, speed_variance = np.zeros(len(step_s)), np.zeros(len(step_s))
    for row, u in enumerate(random_u):  # over steps: a later touchdown lengthens the step before
        moved = step_s.copy()
        moved[row] -= u
        if row:
            moved[row - 1] += u
        length, _ = _solve_lengths(known, moved)
        length_variance += (length - plain) ** 2
        speed_variance += (length / moved - plain / step_s) ** 2
    return np.sqrt(length_variance), np.sqrt(speed_variance)


def _stride_lengths(motion: Motion, contacts: Contacts) -> FloatArray:
    """Way of the ball from each contact to the same foot's next one in m, shape (m,)."""
    strides = np.full(len(contacts), np.nan)
    rate_hz = (len(motion.time_s) - 1) / (motion.time_s[-1] - motion.time_s[0])
    middle = 0.5 * (contacts.touchdown_s + contacts.toe_off_s)
    for side in SIDES:
        segment = motion.segments.get(foot_of(side))
        rows = np.flatnonzero(contacts.side == side)
        if segment is None or len(rows) < 2:
            continue
        way = cumulative_integral(ball_velocity(segment)[:, :2], rate_hz)
        at = np.stack([np.interp(middle[rows], motion.time_s, way[:, k]) for k in (0, 1)], axis=1)
        strides[rows[:-1]] = np.linalg.norm(np.diff(at, axis=0), axis=1)
    return strides


def _solve_lengths(known: _Known, step_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Step lengths in m and their standard uncertainty, NaN where nothing bears on a step."""
    count = len(known.strides)
    first = np.flatnonzero(known.usable)
    weight = 1.0 / known.stride_u[first]
    pairs = np.zeros((len(first), count))
    pairs[np.arange(len(first)), first] = weight
    pairs[np.arange(len(first)), first + 1] = weight
    borne = np.zeros(count, dtype=bool)
    borne[first] = borne[first + 1] = True
    bends = _bend_rows(known.follows, step_s)
    bends = bends[~(bends[:, ~borne] != 0.0).any(axis=1)]  # else a step unheard of would pull
    rows = np.concatenate((pairs, bends / known.bend_mps))
    values = np.concatenate((known.strides[first] * weight, np.zeros(len(bends))))
    normal = rows[:, borne].T @ rows[:, borne]
    normal += np.eye(int(borne.sum())) * 1e-6
    covariance = np.linalg.inv(normal)
    length, spread = np.full(count, np.nan), np.full(count, np.nan)
    length[borne] = covariance @ (rows[:, borne].T @ values)
    spread[borne] = np.sqrt(np.diag(covariance))
    return length, spread


def _bend_rows(follows: NDArray[np.bool_], step_s: FloatArray) -> FloatArray:
    """Second difference of speed over each three successive steps, shape (k, m)."""
    count = len(step_s)
    middle = np.flatnonzero(follows[:-2] & follows[1:-1] & follows[2:]) + 1
    rows = np.zeros((len(middle), count))
    line = np.arange(len(middle))
    for shift, factor in ((-1, 1.0), (0, -2.0), (1, 1.0)):
        rows[line, middle + shift] = factor / step_s[middle + shift]
    return rows
