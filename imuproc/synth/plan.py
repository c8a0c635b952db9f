"""What a made-up run is to look like: body, technique, faults, course of the run."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from imuproc.core.body import (
    FOOT_PER_STATURE,
    HIP_HEIGHT_PER_STATURE,
    SHANK_PER_STATURE,
    THIGH_PER_STATURE,
)
from imuproc.core.recording import Start
from imuproc.core.sites import Side
from imuproc.synth.ground import Ground, draw_usual_ground

Fault = Literal["toe-drop", "reaching", "early-upright", "asymmetry"]
FAULTS: Final[tuple[Fault, ...]] = ("toe-drop", "reaching", "early-upright", "asymmetry")

Impact = Literal["none", "weak", "strong"]
Pace = Literal["sprint", "steady"]


@dataclass(frozen=True)
class Body:
    """Lengths of one athlete's leg, all in m.

    The shares of stature behind :meth:`of_stature` are those of :mod:`imuproc.core.body`; the rest,
    the ankle's height among it, is judgement.
    """

    stature_m: float
    shank_m: float
    thigh_m: float
    foot_m: float
    ankle_height_m: float
    ankle_from_heel_m: float
    ball_from_heel_m: float
    sole_radius_m: float
    ball_half_width_m: float
    hip_height_m: float
    hip_half_width_m: float

    @property
    def toe_m(self) -> float:
        """From the ball of the foot to the tip of the toes in m."""
        return self.foot_m - self.ball_from_heel_m

    @classmethod
    def from_stature(cls, stature_m: float, ball_fraction: float = 0.72) -> "Body":
        """A body of usual proportions.

        Parameters
        ----------
        stature_m : float
            In m.
        ball_fraction : float
            Heel to ball as a fraction of foot length.
        """
        foot_m = FOOT_PER_STATURE * stature_m
        return cls(
            stature_m=stature_m,
            shank_m=SHANK_PER_STATURE * stature_m,
            thigh_m=THIGH_PER_STATURE * stature_m,
            foot_m=foot_m,
            ankle_height_m=0.042 * stature_m,
            ankle_from_heel_m=0.22 * foot_m,
            ball_from_heel_m=ball_fraction * foot_m,
            sole_radius_m=0.018 * stature_m,
            ball_half_width_m=0.025 * stature_m,
            hip_height_m=HIP_HEIGHT_PER_STATURE * stature_m,
            hip_half_width_m=0.5 * 0.12 * stature_m,
        )


@dataclass(frozen=True)
class Technique:
    """How one athlete runs; ``first`` is step 1, ``top`` is top speed, angles in deg.

    Values are the simulation ranges that were judged plausible; none is a published mean.
    Pairs are (left, right).
    """

    shin_touchdown_first_deg: float = 48.0
    shin_touchdown_top_deg: float = 93.0
    shin_toe_off_first_deg: float = 31.0
    shin_toe_off_top_deg: float = 41.0
    shin_swing_low_first_deg: float = 10.0
    shin_swing_low_top_deg: float = -19.0
    pitch_touchdown_first_deg: float = -29.0
    pitch_touchdown_top_deg: float = -6.5
    pitch_flat_top_deg: float = -1.5
    pitch_toe_off_first_deg: float = -76.0
    pitch_toe_off_top_deg: float = -66.0
    dorsiflexion_swing_deg: float = 10.0
    knee_lift_deg: float = 57.0
    posture_steps: float = 3.5
    contact_factor: float = 1.0
    step_frequency_hz: float = 4.55
    slip_speed_mps: float = 2.0
    toe_out_deg: tuple[float, float] = (8.0, 8.0)
    inversion_touchdown_deg: float = 9.0
    ground: Ground = field(default_factory=Ground)
    contact_offset_s: tuple[float, float] = (0.0, 0.0)
    shin_offset_deg: tuple[float, float] = (0.0, 0.0)
    dorsiflexion_offset_deg: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class RunPlan:
    """One run to be made up.

    Parameters
    ----------
    start : {"blocks", "three-point", "crouch", "standing", "rolling"}
    distance_m : float
        Distance of the effort in m; slowing comes after it.
    vmax_mps, tau_s : float
        Top speed in m/s and time constant in s of v = vmax (1 - exp(-t / tau)).
    body, technique
        Who runs and how.
    faults : tuple of str
        Faults of technique, see :data:`FAULTS`.
    stand_before_s, hold_s, stand_after_s : float
        Quiet standing, nearly still hold in the set position, quiet standing at the end, in s.
    slow_distance_m, walk_steps
        Over which distance (m) the run slows down, and how many walking steps follow.
    impact : {"none", "weak", "strong"}
        Strength of the shock at touchdown.
    soft_tissue_deg : float
        Largest turn of a sensor against the bone at touchdown in deg.
    sway_deg, stand_change_deg : float
        Sway of the shank in standing, and change of standing posture over the run, in deg.
    angle_sd_deg, contact_sd_s : float
        Step-to-step standard deviation of posture (deg) and contact time (s).
    push_s : float
        From the first movement of the start to the front foot's departure in s.
    first_side : {"left", "right"}
        Side of step 1, which is the rear foot of the start.
    curve_radius_m : float or None
        Radius in m of a curve to the left from the start on; None for a straight run.
    pace : {"sprint", "steady"}
        Whether the run is an all-out effort, or easy running whose postures and step times follow
        speed alone (shin past vertical, heel first); needs a rolling start.
    treadmill : bool
        Whether the ground is a belt that goes as fast as the hips, so that the athlete stays in
        place.
    seed : int
        Everything random in the run's motion follows from it.
    """

    start: Start = "blocks"
    distance_m: float = 30.0
    vmax_mps: float = 9.2
    tau_s: float = 1.25
    body: Body = field(default_factory=lambda: Body.from_stature(1.78))
    technique: Technique = field(default_factory=Technique)
    faults: tuple[Fault, ...] = ()
    stand_before_s: float = 3.5
    hold_s: float = 1.0
    stand_after_s: float = 3.0
    slow_distance_m: float = 12.0
    walk_steps: int = 3
    impact: Impact = "weak"
    soft_tissue_deg: float = 0.2
    sway_deg: float = 0.25
    stand_change_deg: float = 0.6
    angle_sd_deg: float = 1.5
    contact_sd_s: float = 0.004
    push_s: float = 0.38
    first_side: Side = "right"
    curve_radius_m: float | None = None
    pace: Pace = "sprint"
    treadmill: bool = False
    seed: int = 0


def _add_toe_drop(t: Technique) -> Technique:
    return replace(
        t,
        dorsiflexion_swing_deg=t.dorsiflexion_swing_deg - 17.0,
        pitch_touchdown_first_deg=t.pitch_touchdown_first_deg - 9.0,
        pitch_touchdown_top_deg=t.pitch_touchdown_top_deg - 8.0,
    )


def _add_reaching(t: Technique) -> Technique:
    return replace(
        t,
        shin_touchdown_first_deg=t.shin_touchdown_first_deg + 14.0,
        shin_touchdown_top_deg=t.shin_touchdown_top_deg + 9.0,
        pitch_touchdown_first_deg=t.pitch_touchdown_first_deg + 8.0,
    )


def _add_early_upright(t: Technique) -> Technique:
    return replace(
        t,
        shin_touchdown_first_deg=t.shin_touchdown_first_deg + 8.0,
        posture_steps=0.45 * t.posture_steps,
        pitch_touchdown_first_deg=t.pitch_touchdown_first_deg + 6.0,
    )


def _add_asymmetry(t: Technique) -> Technique:
    return replace(
        t,
        contact_offset_s=(t.contact_offset_s[0] + 0.005, t.contact_offset_s[1] - 0.005),
        shin_offset_deg=(t.shin_offset_deg[0] + 3.0, t.shin_offset_deg[1] - 3.0),
        dorsiflexion_offset_deg=(
            t.dorsiflexion_offset_deg[0] - 4.0,
            t.dorsiflexion_offset_deg[1] + 4.0,
        ),
    )


_FAULT_EFFECTS: Final[dict[Fault, Callable[[Technique], Technique]]] = {
    "toe-drop": _add_toe_drop,
    "reaching": _add_reaching,
    "early-upright": _add_early_upright,
    "asymmetry": _add_asymmetry,
}


def add_faults(technique: Technique, faults: tuple[Fault, ...]) -> Technique:
    """A technique with faults added.

    Raises
    ------
    ValueError
        When a fault has no such name.
    """
    for fault in faults:
        if fault not in _FAULT_EFFECTS:
            raise ValueError(f"fault {fault!r} is not one of {', '.join(FAULTS)}")
        technique = _FAULT_EFFECTS[fault](technique)
    return technique


def draw_technique(rng: np.random.Generator) -> Technique:
    """A sound technique drawn at random, for one athlete."""
    base = Technique()

    def draw_around(value: float, sd: float) -> float:
        return value + sd * float(np.clip(rng.standard_normal(), -2.0, 2.0))

    def draw_pair(mean: float, sd: float) -> tuple[float, float]:
        return draw_around(mean, sd), draw_around(mean, sd)

    # Who steps slowly also stays on the ground longer: first flights stay some 45 to 80 ms.
    step_frequency_hz = draw_around(base.step_frequency_hz, 0.15)
    contact_factor = draw_around(base.step_frequency_hz / step_frequency_hz, 0.02)
    return Technique(
        shin_touchdown_first_deg=draw_around(base.shin_touchdown_first_deg, 3.0),
        shin_touchdown_top_deg=draw_around(base.shin_touchdown_top_deg, 2.0),
        shin_toe_off_first_deg=draw_around(base.shin_toe_off_first_deg, 1.5),
        shin_toe_off_top_deg=draw_around(base.shin_toe_off_top_deg, 1.5),
        shin_swing_low_first_deg=draw_around(base.shin_swing_low_first_deg, 4.0),
        shin_swing_low_top_deg=draw_around(base.shin_swing_low_top_deg, 5.0),
        pitch_touchdown_first_deg=draw_around(base.pitch_touchdown_first_deg, 3.0),
        pitch_touchdown_top_deg=draw_around(base.pitch_touchdown_top_deg, 3.0),
        pitch_flat_top_deg=draw_around(base.pitch_flat_top_deg, 0.7),
        pitch_toe_off_first_deg=draw_around(base.pitch_toe_off_first_deg, 3.0),
        pitch_toe_off_top_deg=draw_around(base.pitch_toe_off_top_deg, 3.0),
        dorsiflexion_swing_deg=draw_around(base.dorsiflexion_swing_deg, 3.0),
        knee_lift_deg=draw_around(base.knee_lift_deg, 4.0),
        posture_steps=draw_around(base.posture_steps, 0.5),
        contact_factor=contact_factor,
        step_frequency_hz=step_frequency_hz,
        slip_speed_mps=draw_around(base.slip_speed_mps, 0.3),
        toe_out_deg=draw_pair(9.0, 2.5),
        inversion_touchdown_deg=draw_around(base.inversion_touchdown_deg, 1.2),
        ground=draw_usual_ground(rng),
        contact_offset_s=draw_pair(0.0, 0.001),
        shin_offset_deg=draw_pair(0.0, 0.7),
        dorsiflexion_offset_deg=draw_pair(0.0, 1.0),
    )


def draw_plan(
    rng: np.random.Generator,
    start: Start = "blocks",
    distance_m: float = 30.0,
    faults: tuple[Fault, ...] = (),
) -> RunPlan:
    """A run of an athlete drawn at random.

    Parameters
    ----------
    rng : numpy Generator
        Source of everything random.
    start : str
        Kind of start.
    distance_m : float
        Distance of the effort in m.
    faults : tuple of str
        Faults of technique.
    """
    return RunPlan(
        start=start,
        distance_m=distance_m,
        vmax_mps=float(rng.uniform(8.2, 10.4)),
        tau_s=float(rng.uniform(1.1, 1.4)),
        body=Body.from_stature(float(rng.uniform(1.62, 1.92)), float(rng.uniform(0.70, 0.75))),
        technique=draw_technique(rng),
        faults=faults,
        stand_before_s=float(rng.uniform(3.0, 5.0)),
        hold_s=float(rng.uniform(0.8, 1.6)),
        stand_after_s=float(rng.uniform(2.5, 4.0)),
        slow_distance_m=float(rng.uniform(8.0, 15.0)),
        walk_steps=int(rng.integers(2, 6)),
        impact=("weak", "strong")[int(rng.integers(2))],
        soft_tissue_deg=float(rng.uniform(0.1, 0.4)),
        stand_change_deg=float(rng.uniform(0.3, 1.0)),
        push_s=float(rng.uniform(0.34, 0.42)),
        first_side=("left", "right")[int(rng.integers(2))],
        seed=int(rng.integers(2**31)),
    )


_EASY_GAIN_MPS2: Final = 0.8
"""How fast easy running gains and loses speed; belts do about as much (from memory)."""
_SLOWEST_MPS: Final = 1.35


def draw_steady_plan(
    rng: np.random.Generator, speed_mps: float, distance_m: float, treadmill: bool = False
) -> RunPlan:
    """Easy running at one speed of an athlete drawn at random, from a rolling start.

    Parameters
    ----------
    rng : numpy Generator
        Source of everything random.
    speed_mps : float
        Speed in m/s that is reached and held.
    distance_m : float
        In m, up to where the run slows down.
    treadmill : bool
        Whether it is run on a belt.

    Returns
    -------
    RunPlan
    """
    return replace(
        draw_plan(rng, "rolling", distance_m),
        vmax_mps=speed_mps,
        # A rolling start goes over into v = vmax (1 - exp(-t / tau)) at 0.38 vmax.
        tau_s=0.62 * speed_mps / _EASY_GAIN_MPS2,
        slow_distance_m=(speed_mps**2 - _SLOWEST_MPS**2) / (2.0 * _EASY_GAIN_MPS2),
        pace="steady",
        treadmill=treadmill,
    )
