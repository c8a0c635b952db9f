"""Thighs and trunk of a made-up run, and the hips put where the legs can reach them."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

from imuproc.core.sites import SIDES, Side, Site, shank_of, thigh_of
from imuproc.dsp.rotations import norm
from imuproc.synth.course import GRID_HZ, Course
from imuproc.synth.legs.leg import Leg
from imuproc.synth.legs.pelvis import Pelvis, rotate_zyx
from imuproc.synth.plan import Body
from imuproc.synth.poses import PoseTrack
from imuproc.synth.schedule import Schedule

FloatArray = NDArray[np.float64]

_KNOT_S = 0.02
_REST_KNOT_S = 0.1
_SOFT_S = 0.012
_WAIST_M = np.array([-0.02, 0.0, 0.12])
"""From the midpoint of the hips to the joint of pelvis and trunk; facts of anatomy, from memory."""
_BEND_SHARE = 0.12
"""How much more the trunk leans than the pelvis, as a share of its lean; judgement."""
_TURN_SHARE = -0.6
"""How far the trunk turns against the pelvis, as a share of its turn; judgement."""


def locate_hip(pelvis: PoseTrack, body: Body, side: Side) -> FloatArray:
    """Centre of the hip joint of one side in m, shape (n, 3)."""
    out = body.hip_half_width_m * (1.0 if side == "left" else -1.0)
    return pelvis.compute_point_m(np.array([0.0, out, 0.0]))


def close_hips(
    pelvis: PoseTrack, legs: Mapping[Side, Leg], schedule: Schedule, course: Course, body: Body
) -> PoseTrack:
    """The pelvis moved so that the thighs reach from knees to hips.

    Feet and shanks are made for contacts and angles, so that their knees leave a gap of some
    centimetres to the hips. It is closed for the leg on the ground and eased in the air; in
    standing the hips are upright over the knees.

    Parameters
    ----------
    pelvis : PoseTrack
    legs : mapping from Side to Leg
    schedule : Schedule
    course : Course
    body : Body

    Returns
    -------
    PoseTrack
    """
    t = pelvis.time_s
    lines = {
        side: locate_hip(pelvis, body, side) - locate_knee(leg.shank, body)
        for side, leg in legs.items()
    }
    upright = body.thigh_m * np.array([0.0, 0.0, 1.0])
    over_knees = upright - 0.5 * sum(lines.values())
    over_knees[:, 1] = 0.0
    knots: dict[float, FloatArray] = {}
    standing = find_standing(course)
    for when in np.arange(t[0], t[-1], _REST_KNOT_S):
        row = int(np.searchsorted(t, when))
        if standing[row]:
            knots[when] = over_knees[row]
    running = [stance for stance in schedule.stances if stance.kind == "run"]
    latest = running[0].touchdown_s if running else np.inf
    for stance in running:
        reach = lines[stance.side]
        size = norm(reach)
        moves = ((body.thigh_m - size) / size)[:, None] * reach
        start = max(stance.touchdown_s, latest)
        for when in np.arange(start, stance.toe_off_s, _KNOT_S):
            knots[when] = moves[min(int(np.searchsorted(t, when)), len(t) - 1)]
            latest = when + _KNOT_S
    at_s = sorted(knots)
    curve = PchipInterpolator(at_s, np.array([knots[when] for when in at_s]))
    moved = gaussian_filter1d(curve(np.clip(t, at_s[0], at_s[-1])), _SOFT_S * GRID_HZ, axis=0)
    return PoseTrack(t, pelvis.rotation, pelvis.position_m + moved)


def find_standing(course: Course) -> NDArray[np.bool_]:
    """When the athlete stands before and after the run, shape (n,)."""
    return (course.time_s < course.marks_s) | (course.time_s > course.stop_s + 0.4)


def locate_knee(shank: PoseTrack, body: Body) -> FloatArray:
    """Centre of the knee in m, shape (n, 3)."""
    return shank.compute_point_m(np.array([0.0, 0.0, body.shank_m]))


def make_thigh_track(
    shank: PoseTrack, hip_m: FloatArray, body: Body, course: Course | None = None
) -> PoseTrack:
    """Pose of a thigh: origin at the knee, upward axis to the hip, hinge as the shank's.

    In the standing of a course it is upright, whichever foot is ahead.
    """
    knee = locate_knee(shank, body)
    up = hip_m - knee
    up = up / norm(up)[:, None]
    if course is not None:
        standing = find_standing(course).astype(float)
        share = gaussian_filter1d(standing, _REST_KNOT_S * GRID_HZ)[:, None]
        up = (1.0 - share) * up + share * np.array([0.0, 0.0, 1.0])
        up = up / norm(up)[:, None]
    left = shank.rotation[:, :, 1]
    left = left - np.sum(left * up, axis=1)[:, None] * up
    left = left / norm(left)[:, None]
    return PoseTrack(shank.time_s, np.stack((np.cross(left, up), left, up), axis=2), knee)


def add_upper_body(bones: Mapping[Site, PoseTrack], body: Body) -> dict[Site, PoseTrack]:
    """The bones of both legs and the pelvis with thighs between them and a stiff trunk."""
    pelvis = bones["pelvis"]
    out = dict(bones)
    for side in SIDES:
        hip_m = locate_hip(pelvis, body, side)
        out[thigh_of(side)] = make_thigh_track(bones[shank_of(side)], hip_m, body)
    out["trunk"] = PoseTrack(pelvis.time_s, pelvis.rotation, pelvis.compute_point_m(_WAIST_M))
    return out


def make_trunk_track(pelvis: Pelvis, hips: PoseTrack, course: Course) -> PoseTrack:
    """Pose of the trunk: origin at its joint with the pelvis; it turns against it."""
    rotation = rotate_zyx(
        _TURN_SHARE * pelvis.turn_rad, (1.0 + _BEND_SHARE) * pelvis.lean_rad, -0.3 * pelvis.list_rad
    )
    return PoseTrack(course.time_s, rotation, hips.compute_point_m(_WAIST_M))
