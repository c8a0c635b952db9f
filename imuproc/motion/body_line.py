"""Motion of thighs, pelvis and trunk: no point of them rests in a run, but they travel with it.

A thigh shares the centre of the knee with its shank. Pelvis and trunk, and a thigh whose shank has
no sensor, go as far in a stride as the feet do: over a stride their mean velocity is that of the
legs, and they rise as much as they fall.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.recording import Conditioned
from imuproc.core.sites import Side
from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.rotations import quat_from_rotvec, quat_multiply, quat_rotate
from imuproc.motion.drift import PointModel
from imuproc.motion.observations import SAMPLES_PER_STANCE, Anchors
from imuproc.motion.prepared import Prepared
from imuproc.motion.segment import (
    UP,
    PointBuilder,
    Solved,
    Stances,
    estimate_swing_heading,
    make_lever_rows,
    sample_rotation,
    solve_segment,
    turn_solved,
)
from imuproc.motion.settings import BodyLineSettings, MotionSettings
from imuproc.motion.strapdown import Strapdown, interpolate_at

FloatArray = NDArray[np.float64]

_FREE_HEADING_RAD = 1.0
"""Prior of a heading that the way of the legs fixes: it tells hardly anything."""
_MOST_TURNS = 6
_SETTLED_RAD = np.radians(0.2)


@dataclass(frozen=True, eq=False)
class Way:
    """How the legs travel: strides of either foot in order of time.

    Parameters
    ----------
    start_s, end_s : ndarray, shape (k,)
        From the middle of one stance of a foot to that of its next, in s.
    velocity_mps : ndarray, shape (k, 3)
        Mean over each in m/s, world axes; level.
    """

    start_s: FloatArray
    end_s: FloatArray
    velocity_mps: FloatArray


def measure_way(
    heads: Mapping[Side, Solved], contacts: Contacts, settings: BodyLineSettings
) -> Way | None:
    """Strides of the legs; None without any.

    Parameters
    ----------
    heads : mapping from Side to Solved
        The foot of each leg, or its shank, in the world of the run.
    contacts : Contacts
    settings : BodyLineSettings
    """
    starts, ends, means = [], [], []
    for side, head in heads.items():
        own = contacts.take(contacts.side == side)
        middle = 0.5 * (own.touchdown_s + own.toe_off_s)
        length = np.diff(middle)
        whole = np.flatnonzero(length < settings.longest_stride_s)
        rate_hz = head.prepared.strapdown.rate_hz
        place = interpolate_at(
            cumulative_integral(head.velocity_mps[:, :2], rate_hz), head.time_s, middle
        )
        mean = (place[1:] - place[:-1]) / length[:, None]
        starts.append(middle[whole])
        ends.append(middle[whole + 1])
        means.append(mean[whole])
    start_s = np.concatenate(starts) if starts else np.empty(0)
    if len(start_s) == 0:
        return None
    order = np.argsort(start_s, kind="stable")
    level = np.concatenate((np.concatenate(means), np.zeros((len(start_s), 1))), axis=1)
    return Way(start_s[order], np.concatenate(ends)[order], level[order])


def solve_along_way(prepared: Prepared, way: Way, settings: MotionSettings) -> Solved:
    """A segment that travels as the legs do, in the world of the run.

    Parameters
    ----------
    prepared : Prepared
    way : Way
    settings : MotionSettings

    Returns
    -------
    Solved
    """
    # Six instants of a stride, evenly spread: what goes up and down with it cancels in their mean.
    margin = 0.5 * (way.end_s - way.start_s) / SAMPLES_PER_STANCE
    windows = Stances(way.start_s + margin, way.end_s - margin)

    def make_model(heading_rad: float) -> PointBuilder:
        target = quat_rotate(quat_from_rotvec(heading_rad * UP), way.velocity_mps)
        return _model_stride_mean(target, settings.body_line)

    return _solve_with_heading(prepared, windows, make_model, settings, 0.0)


def solve_thigh(
    prepared: Prepared, shank: Solved, own: Contacts, settings: MotionSettings
) -> Solved:
    """A thigh that shares the centre of the knee with its shank, in the world of the run.

    Parameters
    ----------
    prepared : Prepared
    shank : Solved
        In the world of the run.
    own : Contacts
        Of this leg.
    settings : MotionSettings

    Returns
    -------
    Solved
    """
    windows = _split_strides(own, settings.body_line)
    middle_s = 0.5 * (own.touchdown_s + own.toe_off_s)
    about_rad = estimate_swing_heading(prepared.strapdown, middle_s)

    def make_model(heading_rad: float) -> PointBuilder:
        return _model_knee(shank, heading_rad, settings.body_line)

    return _solve_with_heading(prepared, windows, make_model, settings, about_rad)


def measure_misfit(thigh: Solved) -> float:
    """How far a thigh and its shank disagree about the knee: median, in standard deviations."""
    solution = thigh.solution
    return float(np.median(solution.stance_misfit[thigh.problem.anchors.is_stance]))


def find_facing_turn(solved: Solved, bend_rad: FloatArray, way: Way) -> float:
    """Turn about a segment's own vertical that has it face the way on average, in rad.

    Which way pelvis and trunk face in standing nothing else tells: their turns to both sides cancel
    over whole strides.

    Parameters
    ----------
    solved : Solved
        In the world of the run.
    bend_rad : ndarray, shape (n,)
        Direction of the way at each sample.
    way : Way
    """
    first, last = np.searchsorted(solved.time_s, (way.start_s[0], way.end_s[-1]))
    inside = slice(first, max(last, first + 1))
    ahead = np.stack(
        (np.cos(bend_rad[inside]), np.sin(bend_rad[inside]), np.zeros(len(bend_rad[inside]))), 1
    )
    conjugate = solved.quat_wxyz[inside] * np.array([1.0, -1.0, -1.0, -1.0])
    own = quat_rotate(conjugate, ahead).mean(axis=0)
    return float(np.arctan2(own[1], own[0]))


def _solve_with_heading(
    prepared: Prepared,
    windows: Stances,
    make_model: Callable[[float], PointBuilder],
    settings: MotionSettings,
    heading_rad: float,
) -> Solved:
    """Solve anew until the heading that was put in is the one that comes out (Gauss-Newton)."""
    for _ in range(_MOST_TURNS):
        solved = solve_segment(
            prepared, windows, make_model(heading_rad), settings, _FREE_HEADING_RAD
        )
        turned = float(solved.solution.errors[2])
        heading_rad -= turned
        if abs(turned) < _SETTLED_RAD:
            break
    return turn_solved(solved, -(heading_rad + turned))


def _model_stride_mean(target_mps: FloatArray, settings: BodyLineSettings) -> PointBuilder:
    """The sensor moves with the legs in the mean over a stride; within it, as it likes."""

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        count = len(anchors.sample_time_s)
        target = np.zeros((count, 3))
        target[: SAMPLES_PER_STANCE * len(target_mps)] = np.repeat(
            target_mps, SAMPLES_PER_STANCE, axis=0
        )
        return PointModel(
            rows=np.zeros((count, 3, 1)),
            target=target,
            prior_mean=np.zeros(1),
            prior_sd=np.ones(1),
            velocity_sd_mps=settings.stride_mean_sd_mps,
            within_sd_mps=settings.within_stride_sd_mps,
        )

    return build


def _model_knee(shank: Solved, heading_rad: float, settings: BodyLineSettings) -> PointBuilder:
    """The centre of the knee has the same velocity as a point of the thigh and of the shank."""
    as_shank, signals = shank.get_strapdown(), shank.prepared.segment
    turn = quat_from_rotvec(heading_rad * UP)

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = sample_rotation(strapdown, segment, anchors)
        shank_quat, shank_gyro = sample_rotation(as_shank, signals, anchors)
        shank_quat = quat_multiply(turn, shank_quat)
        velocity = interpolate_at(shank.velocity_mps, shank.time_s, anchors.sample_time_s)
        stance = anchors.is_stance[anchors.sample_anchor][:, None]
        rows = (make_lever_rows(quat, gyro), -make_lever_rows(shank_quat, shank_gyro))
        return PointModel(
            rows=np.concatenate(rows, axis=2),
            target=np.where(stance, quat_rotate(turn, velocity), 0.0),
            prior_mean=np.array(
                [*settings.knee_from_thigh_sensor_m, *settings.knee_from_shank_sensor_m]
            ),
            prior_sd=np.array(
                [*settings.knee_from_thigh_sensor_sd_m, *settings.knee_from_shank_sensor_sd_m]
            ),
            velocity_sd_mps=settings.knee_velocity_sd_mps,
            within_sd_mps=settings.knee_within_sd_mps,
        )

    return build


def _split_strides(own: Contacts, settings: BodyLineSettings) -> Stances:
    """Each contact, and the swing after it in two halves; a pause is no swing."""
    swing = own.touchdown_s[1:] - own.toe_off_s[:-1]
    there = (swing > 0.0) & (np.diff(own.touchdown_s) < settings.longest_stride_s)
    off, length = own.toe_off_s[:-1][there], swing[there]
    start = np.concatenate((own.touchdown_s, off, off + 0.5 * length))
    whole = np.concatenate((own.toe_off_s - own.touchdown_s, 0.5 * length, 0.5 * length))
    # Impacts and toe-offs shake what is soft: a margin keeps out of them.
    return Stances(
        start + settings.margin_share * whole, start + (1.0 - settings.margin_share) * whole
    )
