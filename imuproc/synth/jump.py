"""A jump on both feet: sensors see it in common, and it must not be taken for sprint steps."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from imuproc.core.sites import SIDES, Site, foot_of, shank_of
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.synth.course import GRID_HZ
from imuproc.synth.legs.angles import Knots
from imuproc.synth.legs.body_line import add_upper_body
from imuproc.synth.legs.pelvis import rotate_zyx
from imuproc.synth.plan import RunPlan
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

_DIP_S: Final = 0.75
_SETTLE_S: Final = 0.9
_PRESS_S: Final = 0.010

# Time (share of the dip, flight or settling), shin angle and foot pitch in deg (judgement).
_DIP: Final = ((0.25, 80.0, 0.0), (0.6, 64.0, 0.0), (0.85, 70.0, -8.0), (1.0, 84.0, -50.0))
_FLIGHT: Final = ((0.3, 88.0, -48.0), (0.7, 84.0, -36.0), (1.0, 82.0, -24.0))
_SETTLE: Final = ((0.06, 76.0, -4.0), (0.15, 70.0, 0.0), (0.4, 76.0, 0.0), (0.75, 88.0, 0.0))


@dataclass(frozen=True, eq=False)
class Jump:
    """Bones of one jump, and when its landing is.

    Parameters
    ----------
    bones : dict from Site to PoseTrack
    landing_s : float
    strike_mps : float
        Downward speed at landing in m/s.
    """

    bones: dict[Site, PoseTrack]
    landing_s: float
    strike_mps: float


def _compute_angles(
    stand_s: float, flight_s: float, t: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Shin angle and foot pitch in rad."""
    shin, pitch = Knots(), Knots()
    shin.add_plateau(0.0, stand_s, 90.0)
    pitch.add_plateau(0.0, stand_s, 0.0)
    start_s = stand_s
    for span_s, shape in ((_DIP_S, _DIP), (flight_s, _FLIGHT), (_SETTLE_S, _SETTLE)):
        for share, shin_deg, pitch_deg in shape:
            shin.add_knot(start_s + share * span_s, shin_deg)
            pitch.add_knot(start_s + share * span_s, pitch_deg)
        start_s += span_s
    shin.add_plateau(start_s, float(t[-1]), 90.0)
    pitch.add_plateau(start_s, float(t[-1]), 0.0)
    return np.radians(shin.make_curve(t)), np.radians(pitch.make_curve(t))


def make_jump(plan: RunPlan, stand_s: float, rng: np.random.Generator) -> Jump:
    """A jump of an athlete, with standing before and after it.

    Parameters
    ----------
    plan : RunPlan
        Who jumps.
    stand_s : float
        Standing before and after in s.
    rng : numpy Generator
        Draws the height.

    Returns
    -------
    Jump
    """
    body, flight_s = plan.body, float(rng.uniform(0.34, 0.46))
    total_s = stand_s + _DIP_S + flight_s + _SETTLE_S + stand_s
    t = np.arange(round(total_s * GRID_HZ)) / GRID_HZ
    shin, pitch = _compute_angles(stand_s, flight_s, t)
    since = np.clip(t - stand_s - _DIP_S, 0.0, flight_s)
    speed_mps = 0.5 * STANDARD_GRAVITY_MPS2 * flight_s
    fall = speed_mps * since - 0.5 * STANDARD_GRAVITY_MPS2 * since**2
    rise_m = gaussian_filter1d(fall, _PRESS_S * GRID_HZ)
    zero, bones = np.zeros(len(t)), {}
    for k, side in enumerate(SIDES):
        outward = 1.0 if side == "left" else -1.0
        yaw = np.full(len(t), np.radians(outward * plan.technique.toe_out_deg[k]))
        foot = rotate_zyx(yaw, -pitch, zero)
        shank = rotate_zyx(0.5 * yaw, np.pi / 2 - shin, zero)
        ball_m = body.ball_from_heel_m - body.ankle_from_heel_m
        ball = np.stack((zero + ball_m, zero + 0.09 * outward, body.sole_radius_m + rise_m), -1)
        heel = ball - foot @ np.array([body.ball_from_heel_m, 0.0, body.sole_radius_m])
        ankle = heel + foot @ np.array([body.ankle_from_heel_m, 0.0, body.ankle_height_m])
        bones[foot_of(side)] = PoseTrack(t, foot, heel)
        bones[shank_of(side)] = PoseTrack(t, shank, ankle)
    low = 0.985 * body.hip_height_m - 1.1 * body.shank_m * (1.0 - np.sin(shin))
    lean = 1.6 * np.maximum(np.pi / 2 - shin, 0.0)
    place = np.stack((zero, zero, low + rise_m), axis=-1)
    bones["pelvis"] = PoseTrack(t, rotate_zyx(zero, lean, zero), place)
    return Jump(add_upper_body(bones, body), stand_s + _DIP_S + flight_s, speed_mps)
