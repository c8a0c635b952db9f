"""What a touchdown does to a sensor on skin: a ringing of the sensor against the bone.

The shock is made as a real, small displacement and turn of the sensor's carrier, not as a number
added to a signal: accelerometer and gyroscope then agree with each other, and integrating them
returns the sensor's true path. The bones, from which the truth is read, do not take part.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.sites import Site, is_foot
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.rotations import quat_from_rotvec, quat_to_matrix
from imuproc.synth.plan import Impact, RunPlan
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

_PEAK_G: Final[dict[Impact, tuple[float, float]]] = {
    "none": (0.0, 0.0),
    "weak": (4.0, 8.0),
    "strong": (6.0, 13.0),
}
"""Peak of the added ringing on shank and foot in g at a strike of 2 m/s; judgement within
published peaks (tibia about 10 to 25 g; foot up to 70 g, Bailey & Harle 2014)."""

_LENGTH_S: Final = 0.25
_REFERENCE_MPS: Final = 2.0


def _compute_ringing(since_s: FloatArray, frequency_hz: float, decay_s: float) -> FloatArray:
    """Decaying oscillation that starts smoothly from rest; its swing is about 1."""
    onset = 1.0 - np.exp(-((since_s * frequency_hz / 0.25) ** 3))
    wave = np.sin(2.0 * np.pi * frequency_hz * since_s) * np.exp(-since_s / decay_s)
    return np.asarray(onset * wave)


_SHARE_OF_SHOCK = {"thigh": 0.7, "pelvis": 0.4, "trunk": 0.25}
"""Of what a shank is shaken by; judgement."""


def make_skin_track(
    track: PoseTrack, strikes_mps: Mapping[float, float], plan: RunPlan, site: Site
) -> PoseTrack:
    """Pose of the part of the skin that carries the sensor.

    Parameters
    ----------
    track : PoseTrack
        Pose of the bone.
    strikes_mps : mapping from float to float
        Downward speed of this foot (of both for the pelvis) in m/s by time of touchdown in s.
    plan : RunPlan
        Its ``impact`` and ``soft_tissue_deg`` say how strong the ringing is.
    site : Site

    Returns
    -------
    PoseTrack
    """
    rng = np.random.default_rng([plan.seed, 4, len(site), site.startswith("left")])
    foot, t = is_foot(site), track.time_s
    frequency_hz = rng.uniform(60.0, 95.0) if foot else rng.uniform(32.0, 55.0)
    decay_s = rng.uniform(0.007, 0.011) if foot else rng.uniform(0.014, 0.022)
    tissue_hz, tissue_s = rng.uniform(14.0, 24.0), rng.uniform(0.025, 0.045)
    peak_g = _PEAK_G[plan.impact][1 if foot else 0] * _SHARE_OF_SHOCK.get(site.split("_")[-1], 1.0)
    size_m = peak_g * STANDARD_GRAVITY_MPS2 / (2.0 * np.pi * frequency_hz) ** 2
    moved, turned = np.zeros((len(t), 3)), np.zeros((len(t), 3))
    for touchdown_s, strike_mps in strikes_mps.items():
        hit = np.sqrt(strike_mps / _REFERENCE_MPS) * rng.uniform(0.75, 1.25)
        first, last = np.searchsorted(t, (touchdown_s, touchdown_s + _LENGTH_S))
        since = t[first:last] - touchdown_s
        axis = np.array([0.5, 0.2, 1.0]) * (1.0 + 0.25 * rng.standard_normal(3))
        ring = _compute_ringing(since, frequency_hz, decay_s)[:, None]
        moved[first:last] += size_m * hit * axis * ring
        swing = np.radians(plan.soft_tissue_deg) * hit * (0.5 if foot else 1.0)
        about = np.array([0.4, 1.0, 0.6]) * (1.0 + 0.25 * rng.standard_normal(3))
        turned[first:last] += swing * about * _compute_ringing(since, tissue_hz, tissue_s)[:, None]
    position = track.position_m + np.einsum("nij,nj->ni", track.rotation, moved)
    return PoseTrack(t, track.rotation @ quat_to_matrix(quat_from_rotvec(turned)), position)
