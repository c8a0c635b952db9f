"""Motion of all segments of one run, solved leg by leg: foot first, then the shank tied to it."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.recording import Conditioned, ConditionedRecording
from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of
from imuproc.dsp.rotations import quat_rotate
from imuproc.motion.drift import PointModel
from imuproc.motion.observations import Anchors
from imuproc.motion.segment import (
    UP,
    PointBuilder,
    SegmentInput,
    Solved,
    lever_rows,
    solve_segment,
    to_motion,
    turn_solved,
)
from imuproc.motion.settings import MotionSettings
from imuproc.motion.strapdown import Strapdown, at_times

FloatArray = NDArray[np.float64]

# From an instep sensor to the ball and to the ankle, and from a shank sensor to the ankle, in m:
# wide priors that any usual mounting fits (dimensions: facts of anatomy, from memory).
_BALL_FROM_FOOT_SENSOR = (np.array([0.06, 0.0, -0.05]), np.array([0.08, 0.03, 0.04]))
_ANKLE_FROM_FOOT_SENSOR = (np.array([-0.06, 0.0, 0.03]), np.array([0.06, 0.03, 0.04]))
_ANKLE_FROM_SHANK_SENSOR = (np.array([-0.03, 0.0, -0.22]), np.array([0.04, 0.03, 0.10]))
_ROLLING_RADIUS_SD_M = 0.03

# Nothing but the way of the segment itself fixes its heading; tied to a foot it may still turn.
_HEADING_GIVEN_RAD = np.radians(0.01)
_HEADING_TIED_RAD = np.radians(3.0)

FOOT_AXIS = np.array([1.0, 0.0, 0.0])
SHANK_AXIS = np.array([0.0, 0.0, 1.0])


def solve_motion(
    conditioned: ConditionedRecording, contacts: Contacts, settings: MotionSettings
) -> Motion:
    """Orientation and velocity of every segment, free of drift.

    Parameters
    ----------
    conditioned : ConditionedRecording
        Signals of one run with the quiet standing around it.
    contacts : Contacts
        Coarse or refined contacts.
    settings : MotionSettings

    Returns
    -------
    Motion
        Segments without quiet standing are left out.
    """
    solved: dict[Site, SegmentMotion] = {}
    for side in SIDES:
        solved.update(_solve_leg(conditioned, contacts, side, settings))
    if _usable(conditioned, "pelvis"):
        nowhere = contacts.take(np.zeros(0, dtype=np.int64))
        given = _input(conditioned, "pelvis", nowhere, settings)
        pelvis, axis = _face_forward(
            solve_segment(given, _free_point, settings, _HEADING_GIVEN_RAD), contacts
        )
        solved["pelvis"] = to_motion(pelvis, given, SHANK_AXIS, axis)
    entry = HistoryEntry(
        "motion.body",
        f"Drift solved over {len(contacts)} stances and all rests of {len(solved)} segments.",
        {name: getattr(settings, name) for name in settings.__dataclass_fields__},
    )
    return Motion(conditioned.time_s, solved, history=(*conditioned.history, entry))


def _usable(conditioned: ConditionedRecording, site: Site) -> bool:
    segment = conditioned.segments.get(site)
    return segment is not None and segment.calibration.vertical_known


def _input(
    conditioned: ConditionedRecording, site: Site, contacts: Contacts, settings: MotionSettings
) -> SegmentInput:
    segment = conditioned.segments[site]
    calibration = segment.calibration
    anchor = calibration.still_before or calibration.still_after
    if anchor is None:
        raise ValueError(f"{site} has no quiet standing")
    length = contacts.toe_off_s - contacts.touchdown_s
    return SegmentInput(
        segment=segment,
        time_s=conditioned.time_s,
        rate_hz=conditioned.rate_hz,
        gravity_mps2=conditioned.recording.gravity_mps2,
        anchor=anchor,
        stance_start_s=contacts.touchdown_s + settings.stance_from * length,
        stance_end_s=contacts.touchdown_s + settings.stance_to * length,
    )


def _solve_leg(
    conditioned: ConditionedRecording, contacts: Contacts, side: Side, settings: MotionSettings
) -> dict[Site, SegmentMotion]:
    """Foot and shank of one side."""
    own = contacts.take(contacts.side == side)
    foot_site, shank_site = foot_of(side), shank_of(side)
    out: dict[Site, SegmentMotion] = {}
    foot: Solved | None = None
    if _usable(conditioned, foot_site):
        given = _input(conditioned, foot_site, own, settings)
        solved = solve_segment(given, _ball_point(settings), settings, _HEADING_GIVEN_RAD)
        foot, axis = _face_forward(solved, own)
        out[foot_site] = to_motion(foot, given, FOOT_AXIS, axis)
    if _usable(conditioned, shank_site):
        given = _input(conditioned, shank_site, own, settings)
        if foot is None:
            solved = solve_segment(given, _drifting_ankle(settings), settings, _HEADING_GIVEN_RAD)
            shank, axis = _face_forward(solved, own)
        else:
            tied = _ankle_of(foot, conditioned.segments[foot_site], settings)
            shank = solve_segment(given, tied, settings, _HEADING_TIED_RAD)
            axis = np.array([0.0, 1.0, 0.0])
        out[shank_site] = to_motion(shank, given, SHANK_AXIS, axis)
    return out


def _face_forward(solved: Solved, own: Contacts) -> tuple[Solved, FloatArray]:
    """Turn the world so that X is the way from the first stance to the last one.

    Returns the turned solution and the world's new Y axis as the drift solution saw it.
    """
    middle = 0.5 * (own.touchdown_s + own.toe_off_s)
    inside = (solved.time_s >= middle.min()) & (solved.time_s <= middle.max())
    way = solved.velocity_mps[inside, :2].sum(axis=0)
    angle = float(np.arctan2(way[1], way[0]))
    axis = np.array([-np.sin(angle), np.cos(angle), 0.0])
    return turn_solved(solved, -angle), axis


def _sampled(
    strapdown: Strapdown, segment: Conditioned, anchors: Anchors
) -> tuple[FloatArray, FloatArray]:
    """Orientation and angular velocity at the observation instants, of stances only."""
    stance = anchors.is_stance[anchors.sample_anchor][:, None]
    quat = at_times(strapdown.quat_wxyz, strapdown.time_s, anchors.sample_time_s)
    gyro = at_times(segment.gyro_radps, strapdown.time_s, anchors.sample_time_s)
    return quat / np.linalg.norm(quat, axis=1, keepdims=True), np.where(stance, gyro, 0.0)


def _ball_point(settings: MotionSettings) -> PointBuilder:
    """The ball of the foot rests in stance but for rolling on the sole's curve."""

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = _sampled(strapdown, segment, anchors)
        rolling = -np.cross(quat_rotate(quat, gyro), UP)
        mean, sd = _BALL_FROM_FOOT_SENSOR
        return PointModel(
            rows=np.concatenate((lever_rows(quat, gyro), rolling[:, :, None]), axis=2),
            target=np.zeros((len(gyro), 3)),
            prior_mean=np.concatenate((mean, [0.0])),
            prior_sd=np.concatenate((sd, [_ROLLING_RADIUS_SD_M])),
            velocity_sd_mps=settings.ball_velocity_sd_mps,
        )

    return build


def _ankle_of(foot: Solved, foot_signals: Conditioned, settings: MotionSettings) -> PointBuilder:
    """The ankle has the same velocity as a point of the shank and as a point of the foot."""
    as_foot = replace(foot.strapdown, quat_wxyz=foot.quat_wxyz)

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = _sampled(strapdown, segment, anchors)
        foot_quat, foot_gyro = _sampled(as_foot, foot_signals, anchors)
        stance = anchors.is_stance[anchors.sample_anchor][:, None]
        velocity = at_times(foot.velocity_mps, foot.time_s, anchors.sample_time_s)
        shank_mean, shank_sd = _ANKLE_FROM_SHANK_SENSOR
        foot_mean, foot_sd = _ANKLE_FROM_FOOT_SENSOR
        return PointModel(
            rows=np.concatenate((lever_rows(quat, gyro), -lever_rows(foot_quat, foot_gyro)), 2),
            target=np.where(stance, velocity, 0.0),
            prior_mean=np.concatenate((shank_mean, foot_mean)),
            prior_sd=np.concatenate((shank_sd, foot_sd)),
            velocity_sd_mps=settings.ankle_velocity_sd_mps,
        )

    return build


def _drifting_ankle(settings: MotionSettings) -> PointBuilder:
    """Without a foot sensor the ankle moves alike from stance to stance, but how is not known."""

    def build(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
        quat, gyro = _sampled(strapdown, segment, anchors)
        stance = anchors.is_stance[anchors.sample_anchor]
        common = -np.where(stance[:, None, None], np.eye(3)[None], 0.0)
        mean, sd = _ANKLE_FROM_SHANK_SENSOR
        return PointModel(
            rows=np.concatenate((lever_rows(quat, gyro), common), axis=2),
            target=np.zeros((len(gyro), 3)),
            prior_mean=np.concatenate((mean, np.zeros(3))),
            prior_sd=np.concatenate((sd, np.full(3, 0.8))),
            velocity_sd_mps=settings.shank_alone_velocity_sd_mps,
        )

    return build


def _free_point(strapdown: Strapdown, segment: Conditioned, anchors: Anchors) -> PointModel:
    """No point of the segment is ever at rest but in rests."""
    count = len(anchors.sample_time_s)
    return PointModel(
        rows=np.zeros((count, 3, 1)),
        target=np.zeros((count, 3)),
        prior_mean=np.zeros(1),
        prior_sd=np.ones(1),
        velocity_sd_mps=1.0,
    )
