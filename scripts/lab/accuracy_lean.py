"""Athletes whose shanks lean in quiet standing, for the accuracy script."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from imuproc.core.sites import Site
from imuproc.dsp.easing import quintic_step
from imuproc.synth.poses import PoseTrack
from imuproc.synth.runs import RunMotion
from imuproc.synth.truth import Truth

FloatArray = NDArray[np.float64]

LEAN_DEG: Final = 4.0
LEAN_ASIDE_DEG: Final = 3.0
"""Shank in quiet standing: forward (both alike), and to the left of upright."""


def make_leaning_motion(motion: RunMotion, stated: bool) -> RunMotion:
    """The motion of an athlete whose shanks lean in quiet standing.

    The lean is about the ankle and goes while the athlete moves into position and comes back while
    walking out, so that the run itself is the same.

    Parameters
    ----------
    motion : RunMotion
    stated : bool
        Whether the truth is the shin angle to the horizontal, which a stated lean gives, or that
        relative to quiet standing, which is all that can be known without.

    Returns
    -------
    RunMotion
    """
    share = _compute_standing_share(motion)
    forward, aside = np.radians(LEAN_DEG), np.radians(LEAN_ASIDE_DEG)
    truth = share if stated else share - 1.0
    return replace(
        motion,
        bones=_turn_shanks(motion.bones, forward * truth, aside * share),
        skin=_turn_shanks(motion.skin, forward * share, aside * share),
    )


def zero_dorsiflexion(truth: Truth) -> Truth:
    """The truth with dorsiflexion counted from quiet standing, as its columns say.

    Parameters
    ----------
    truth : Truth

    Returns
    -------
    Truth
    """
    steps, curves = truth.steps.copy(), truth.curves.copy()
    for table in (steps, curves):
        own = [name for name in table if name.startswith("dorsiflexion")]
        table[own] -= LEAN_DEG
    return replace(truth, steps=steps, curves=curves)


def _compute_standing_share(motion: RunMotion) -> FloatArray:
    """1 in quiet standing before and after, 0 in the run."""
    course = motion.course
    leaves_s = max(course.set_s, course.marks_s + 0.7) - course.marks_s
    before = quintic_step((course.time_s - course.marks_s) / leaves_s)
    after = quintic_step((course.time_s - course.walk_s) / (course.stop_s - course.walk_s))
    return 1.0 - before + after


def _turn_shanks(
    tracks: Mapping[Site, PoseTrack], forward_rad: FloatArray, aside_rad: FloatArray
) -> dict[Site, PoseTrack]:
    """Tracks with the shanks turned about the ankle: forward and to the left of upright."""
    zero = np.zeros(len(forward_rad))
    about_y = _to_matrix(np.stack((zero, forward_rad, zero), axis=1))
    about_x = _to_matrix(np.stack((-aside_rad, zero, zero), axis=1))
    return {
        site: PoseTrack(track.time_s, about_y @ about_x @ track.rotation, track.position_m)
        if site.endswith("shank")
        else track
        for site, track in tracks.items()
    }


def _to_matrix(rotvec: FloatArray) -> FloatArray:
    return np.asarray(Rotation.from_rotvec(rotvec).as_matrix())
