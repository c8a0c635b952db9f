"""Motion of all segments of one run, solved leg by leg: foot first, then the shank tied to it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.recording import Conditioned, ConditionedRecording
from imuproc.core.sites import (
    SIDES,
    SITES,
    Side,
    Site,
    foot_of,
    is_lower_leg,
    shank_of,
    side_of,
)
from imuproc.dsp.rotations import cross, quat_from_rotvec, quat_multiply, quat_rotate
from imuproc.motion.body_line import (
    find_facing_turn,
    measure_misfit,
    measure_way,
    solve_along_way,
    solve_thigh,
)
from imuproc.motion.drift import PointModel
from imuproc.motion.foot_axis import find_heel_rise_turn
from imuproc.motion.observations import Anchors
from imuproc.motion.prepared import Prepared, prepare_segment
from imuproc.motion.scale import flag_rate
from imuproc.motion.segment import (
    UP,
    PointBuilder,
    Solved,
    Stances,
    estimate_swing_heading,
    make_lever_rows,
    sample_rotation,
    solve_segment,
    to_motion,
    turn_solved,
)
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import Strapdown, interpolate_at
from imuproc.motion.way import find_bend_of_way

FloatArray = NDArray[np.float64]

_HEADING_GIVEN_RAD = np.radians(0.01)
"""Where nothing but the way of the segment itself fixes its heading, it is taken as it is."""

FOOT_AXIS = np.array([1.0, 0.0, 0.0])
SHANK_AXIS = np.array([0.0, 0.0, 1.0])


PreparedBody = Mapping[Site, Prepared]


def prepare_body(conditioned: ConditionedRecording, settings: MotionSettings) -> PreparedBody:
    """Integrate every segment once; segments without quiet standing are left out.

    Parameters
    ----------
    conditioned : ConditionedRecording
        Signals of one run with the quiet standing around it.
    settings : MotionSettings

    Returns
    -------
    mapping from Site to Prepared
    """
    clock = (conditioned.time_s, conditioned.rate_hz, conditioned.recording.gravity_mps2)
    prepared = {
        site: prepare_segment(segment, *clock, settings)
        for site, segment in conditioned.segments.items()
    }
    return {site: segment for site, segment in prepared.items() if segment is not None}


def solve_motion(
    conditioned: ConditionedRecording,
    prepared: PreparedBody,
    contacts: Contacts,
    settings: MotionSettings,
    ankle_m: float,
    uncertainty: bool = True,
) -> Motion:
    """Orientation and velocity of every segment, free of drift.

    Parameters
    ----------
    conditioned : ConditionedRecording
    prepared : mapping from Site to Prepared
        From :func:`prepare_body`.
    contacts : Contacts
        Coarse or refined contacts.
    settings : MotionSettings
    ankle_m : float
        Usual distance from a sensor on the shank down to the ankle.
    uncertainty : bool
        Whether to work out ``pitch_u_rad`` (NaN otherwise): it takes as long as all else.

    Returns
    -------
    Motion
        World axes: X along the run, Y to the left, Z up. Angles count in the plane of the way,
        which turns around a curve.

    See Also
    --------
    imuproc.motion.segment.solve_segment : one segment.
    imuproc.stages.solve : the stage that calls it.

    Examples
    --------
    >>> from imuproc import read_session, stages
    >>> (run,) = stages.condition(read_session("data_samples/session.toml").read_run("R07-01"))
    >>> motion = stages.solve(run, stages.detect(run))
    >>> shank = motion.segments["left_shank"]
    >>> bool(np.degrees(np.ptp(shank.pitch_rad)) > 60.0)
    True
    """
    solved: dict[Site, SegmentMotion] = {}
    legs: dict[Side, _Leg] = {}
    for side in SIDES:
        own = contacts.take(contacts.side == side)
        leg = _solve_leg(prepared, own, side, settings, ankle_m, uncertainty)
        solved.update(leg.segments)
        if leg.bend_rad is not None:
            legs[side] = leg
    upper, apart = _solve_body_line(prepared, legs, contacts, settings, uncertainty)
    solved.update(upper)
    entry = HistoryEntry(
        "motion.body",
        f"Drift solved over {len(contacts)} stances and all rests of {len(solved)} segments.",
        settings.model_dump(),
    )
    flags = (*apart, *flag_rate(solved, conditioned.rate_hz, settings.rate))
    return Motion(conditioned.time_s, solved, flags, (*conditioned.history, entry))


def _find_measured(start: Prepared, contacts: Contacts) -> NDArray[np.bool_]:
    """Contacts in which a segment was measured for the most part: others tell nothing of it."""
    time_s, measured = start.strapdown.time_s, start.segment.measured
    if measured.all():
        return np.ones(len(contacts), dtype=bool)
    so_far = np.append(0, np.cumsum(measured))
    first, after = np.searchsorted(time_s, [contacts.touchdown_s, contacts.toe_off_s])
    return np.asarray(so_far[after] - so_far[first] > 0.5 * (after - first))


def _cut_quiet_parts(contacts: Contacts, settings: MotionSettings) -> Stances:
    length = contacts.toe_off_s - contacts.touchdown_s
    return Stances(
        contacts.touchdown_s + settings.stance_from * length,
        contacts.touchdown_s + settings.stance_to * length,
    )


@dataclass(frozen=True, eq=False)
class _Leg:
    """Foot and shank of one side, those of them that are there; in the world of the run.

    ``bend_rad`` is the direction of the way, shape (n,); None without both.
    """

    segments: dict[Site, SegmentMotion]
    foot: Solved | None
    shank: Solved | None
    bend_rad: FloatArray | None


def _solve_leg(
    prepared: PreparedBody,
    own: Contacts,
    side: Side,
    settings: MotionSettings,
    ankle_m: float,
    uncertainty: bool,
) -> _Leg:
    foot_start, shank_start = prepared.get(foot_of(side)), prepared.get(shank_of(side))
    out: dict[Site, SegmentMotion] = {}
    foot: Solved | None = None
    bend: FloatArray | None = None
    if foot_start is not None:
        own = own.take(_find_measured(foot_start, own))
        stances, ball = _cut_quiet_parts(own, settings), _model_ball(settings)
        solved = solve_segment(foot_start, stances, ball, settings, _HEADING_GIVEN_RAD)
        foot = _turn_forward(solved, own)
        bend = _find_bend(foot, stances, settings)
        turn = find_heel_rise_turn(foot_start.segment, foot.time_s, own, side, settings)
        out[foot_of(side)] = to_motion(foot, FOOT_AXIS, bend, turn, uncertainty)
    if shank_start is None:
        return _Leg(out, foot, None, bend)
    own = own.take(_find_measured(shank_start, own))  # of those in which the foot was measured too
    stances = _cut_quiet_parts(own, settings)
    if foot is None or bend is None:
        ankle = _model_drifting_ankle(settings, ankle_m)
        solved = solve_segment(shank_start, stances, ankle, settings, _HEADING_GIVEN_RAD)
        shank = _turn_forward(solved, own)
        bend = _find_bend(shank, stances, settings)
    else:
        heading = estimate_swing_heading(shank_start.strapdown, stances.middle_s)
        ankle = _model_ankle(foot, heading, settings, ankle_m)
        tied_rad = float(np.radians(settings.shank_heading_sd_deg))
        solved = solve_segment(shank_start, stances, ankle, settings, tied_rad)
        shank = turn_solved(solved, -heading)
    out[shank_of(side)] = to_motion(shank, SHANK_AXIS, bend, uncertainty=uncertainty)
    return _Leg(out, foot, shank, bend)


def _solve_body_line(
    prepared: PreparedBody,
    legs: Mapping[Side, _Leg],
    contacts: Contacts,
    settings: MotionSettings,
    uncertainty: bool,
) -> tuple[dict[Site, SegmentMotion], list[RaisedFlag]]:
    """Thighs, pelvis and trunk; none where the legs do not tell the way. Flags on thighs."""
    out: dict[Site, SegmentMotion] = {}
    flags: list[RaisedFlag] = []
    heads = {side: leg.foot or leg.shank for side, leg in legs.items()}
    way = measure_way({s: h for s, h in heads.items() if h}, contacts, settings.body_line)
    if way is None:
        return out, flags
    for site in (site for site in SITES if site in prepared and not is_lower_leg(site)):
        start, side = prepared[site], side_of(site)
        leg = legs.get(side) if side else None
        bend = next(own.bend_rad for own in (leg, *legs.values()) if own is not None)
        bend_rad = np.zeros(len(start.strapdown.time_s)) if bend is None else bend
        if side and leg is not None and leg.shank is not None:
            own = contacts.take(contacts.side == side)
            solved, turn = solve_thigh(start, leg.shank, own, settings), 0.0
            misfit = measure_misfit(solved)
            if misfit > settings.body_line.most_misfit:
                flags.append(RaisedFlag("thigh_apart", {"misfit": misfit}, site))
                continue
        else:
            solved = solve_along_way(start, way, settings)
            turn = 0.0 if side else find_facing_turn(solved, bend_rad, way)
        out[site] = to_motion(solved, SHANK_AXIS, bend_rad, turn, uncertainty)
    return out, flags


def _find_bend(solved: Solved, stances: Stances, settings: MotionSettings) -> FloatArray:
    way = (solved.velocity_mps, stances.middle_s, settings.straight_deg)
    return find_bend_of_way(solved.time_s, *way)


def _turn_forward(solved: Solved, contacts: Contacts) -> Solved:
    """Turn the world so that X is the way from the first contact to the last one."""
    if len(contacts) == 0:
        return solved
    middle = 0.5 * (contacts.touchdown_s + contacts.toe_off_s)
    inside = (solved.time_s >= middle.min()) & (solved.time_s <= middle.max())
    way = solved.velocity_mps[inside, :2].sum(axis=0)
    return turn_solved(solved, -float(np.arctan2(way[1], way[0])))


def _model_ball(settings: MotionSettings) -> PointBuilder:
    """The ball of the foot rests in stance but for rolling on the sole's curve."""

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = sample_rotation(strapdown, segment, anchors)
        rolling = -cross(quat_rotate(quat, gyro), UP)
        levers = settings.levers
        return PointModel(
            rows=np.concatenate((make_lever_rows(quat, gyro), rolling[:, :, None]), axis=2),
            target=np.zeros((len(gyro), 3)),
            prior_mean=np.array([*levers.ball_from_foot_sensor_m, 0.0]),
            prior_sd=np.array([*levers.ball_from_foot_sensor_sd_m, levers.rolling_radius_sd_m]),
            velocity_sd_mps=settings.ball_velocity_sd_mps,
            within_sd_mps=settings.ball_within_sd_mps,
        )

    return build


def _model_ankle(
    foot: Solved, heading_rad: float, settings: MotionSettings, ankle_m: float
) -> PointBuilder:
    """The ankle has the same velocity as a point of the shank and as a point of the foot.

    The world of the foot is turned by ``heading_rad`` to be that of the shank.
    """
    as_foot = foot.get_strapdown()
    foot_signals = foot.prepared.segment
    turn = quat_from_rotvec(heading_rad * UP)

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = sample_rotation(strapdown, segment, anchors)
        foot_quat, foot_gyro = sample_rotation(as_foot, foot_signals, anchors)
        foot_quat = quat_multiply(turn, foot_quat)
        stance = anchors.is_stance[anchors.sample_anchor][:, None]
        velocity = interpolate_at(foot.velocity_mps, foot.time_s, anchors.sample_time_s)
        velocity = quat_rotate(turn, velocity)
        levers = settings.levers
        shank_sd, foot_sd = levers.ankle_from_shank_sensor_sd_m, levers.ankle_from_foot_sensor_sd_m
        return PointModel(
            rows=np.concatenate(
                (make_lever_rows(quat, gyro), -make_lever_rows(foot_quat, foot_gyro)), 2
            ),
            target=np.where(stance, velocity, 0.0),
            prior_mean=np.array(
                [*levers.ankle_from_shank_sensor_m, -ankle_m, *levers.ankle_from_foot_sensor_m]
            ),
            prior_sd=np.array([*shank_sd, *foot_sd]),
            velocity_sd_mps=settings.ankle_velocity_sd_mps,
            within_sd_mps=settings.ankle_velocity_sd_mps,
        )

    return build


def _model_drifting_ankle(settings: MotionSettings, ankle_m: float) -> PointBuilder:
    """Without a foot sensor the ankle moves alike from stance to stance, but how is not known."""

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = sample_rotation(strapdown, segment, anchors)
        stance = anchors.is_stance[anchors.sample_anchor]
        common = -np.where(stance[:, None, None], np.eye(3)[None], 0.0)
        mean = settings.levers.ankle_from_shank_sensor_m
        sd = settings.levers.ankle_from_shank_sensor_sd_m
        return PointModel(
            rows=np.concatenate((make_lever_rows(quat, gyro), common), axis=2),
            target=np.zeros((len(gyro), 3)),
            prior_mean=np.array([*mean, -ankle_m, 0.0, 0.0, 0.0]),
            prior_sd=np.concatenate((sd, np.full(3, settings.shank_alone_common_sd_mps))),
            velocity_sd_mps=settings.shank_alone_velocity_sd_mps,
            within_sd_mps=settings.shank_alone_velocity_sd_mps,
        )

    return build
