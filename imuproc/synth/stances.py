"""Contacts of a made-up run: when and where each foot is on the ground, and in which posture."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from imuproc.core.recording import Start
from imuproc.core.sites import Side
from imuproc.synth.ground import Ground
from imuproc.synth.plan import Technique


@dataclass(frozen=True)
class Posture:
    """Posture of one leg around one contact; angles in deg, as design terms define them.

    ``heel_first_s`` is how long a heel leads the forefoot at the usual heel strike,
    ``swing_low_at`` is when the shin angle is least, as a share of the swing.
    ``upright`` is 0 in step 1 and 1 at top speed: it shapes the curves between the stated values.
    """

    upright: float
    shin_touchdown_deg: float
    shin_toe_off_deg: float
    shin_rate_touchdown_degps: float
    shin_swing_low_deg: float
    pitch_touchdown_deg: float
    pitch_flat_deg: float
    pitch_toe_off_deg: float
    dorsiflexion_swing_deg: float
    knee_lift_deg: float
    slip_speed_mps: float
    heel_first_s: float = 0.032
    swing_low_at: float = 0.34


@dataclass(frozen=True)
class Stance:
    """One contact of one foot.

    Parameters
    ----------
    side : {"left", "right"}
    touchdown_s, toe_off_s : float
        ``-inf`` for the foot that stands before the start, ``inf`` for the last one.
    ball_m : float
        Ball of the foot along the run in m, once it has come to rest (before the foot rolls).
    ball_left_m : float
        The same to the left.
    posture : Posture
        At this contact and in the swing before it.
    kind : {"ready", "run", "walk", "stand"}
    ground : Ground
        How the foot lands and leaves.
    peel_s, toe_lift_rad : float
        How long before toe-off the ball begins to leave the ground while the toes still press, and
        the angle by which it has then been lifted over the toes.
    """

    side: Side
    touchdown_s: float
    toe_off_s: float
    ball_m: float
    ball_left_m: float
    posture: Posture
    kind: str
    ground: Ground
    peel_s: float
    toe_lift_rad: float


RUN_MPS: Final = 2.1
"""Below this speed steps are walked."""

_SPEED_MPS: Final = (2.1, 2.5, 4.17, 5.56, 6.94, 9.5)
_CONTACT_S: Final = (0.300, 0.280, 0.199, 0.170, 0.145, 0.118)
_FREQUENCY_HZ: Final = (2.50, 2.60, 2.86, 3.12, 3.60, 4.39)
"""Contact time and step frequency by speed: Lubrano et al. 2026 at 4.17, 5.56 and 6.94 m/s, Dorn,
Schache & Pandy 2012 at 9.5 m/s, the two slowest from memory."""


def compute_published_contact_s(step: int) -> float:
    """Contact time in s by step number: fit to Blauberger et al. 2021, Sensors 21:7331, table 1."""
    return 0.1077 + 0.0852 * float(np.exp(-(step - 1) / 4.15))


def compute_running_times(speed_mps: float) -> tuple[float, float]:
    """Contact time and step time in s of steady running by speed."""
    contact_s = float(np.interp(speed_mps, _SPEED_MPS, _CONTACT_S))
    return contact_s, 1.0 / float(np.interp(speed_mps, _SPEED_MPS, _FREQUENCY_HZ))


def compute_walking_times(speed_mps: float) -> tuple[float, float]:
    """Contact time and step time in s of walking by speed (from memory)."""
    step_s = 0.53 - 0.10 * (speed_mps - 1.35)
    return 1.2 * step_s, step_s


def compute_effort_times(
    start: Start, technique: Technique, step: int, speed_mps: float
) -> tuple[float, float]:
    """Contact time and step time in s of one step of the effort."""
    contact_s = technique.contact_factor * compute_published_contact_s(step)
    step_s = 1.0 / (technique.step_frequency_hz * (1.0 - 0.14 * np.exp(-(step - 1) / 2.2)))
    if start == "rolling":
        steady = compute_running_times(speed_mps)
        contact_s, step_s = max(contact_s, steady[0]), max(step_s, steady[1])
    return contact_s, float(step_s)


def make_effort_posture(technique: Technique, step: float, side: Side) -> Posture:
    """Posture of a step of the effort by its number, without scatter."""
    k = 0 if side == "left" else 1
    u = 1.0 - float(np.exp(-(step - 1.0) / technique.posture_steps))

    def mix_values(first: float, top: float) -> float:
        return first + u * (top - first)

    shin = mix_values(technique.shin_touchdown_first_deg, technique.shin_touchdown_top_deg)
    flat_first = technique.pitch_touchdown_first_deg + 7.0
    return Posture(
        upright=u,
        shin_touchdown_deg=shin + technique.shin_offset_deg[k],
        shin_toe_off_deg=mix_values(
            technique.shin_toe_off_first_deg, technique.shin_toe_off_top_deg
        ),
        shin_rate_touchdown_degps=mix_values(-80.0, -540.0),
        shin_swing_low_deg=mix_values(
            technique.shin_swing_low_first_deg, technique.shin_swing_low_top_deg
        ),
        pitch_touchdown_deg=mix_values(
            technique.pitch_touchdown_first_deg, technique.pitch_touchdown_top_deg
        ),
        pitch_flat_deg=mix_values(flat_first, technique.pitch_flat_top_deg),
        pitch_toe_off_deg=mix_values(
            technique.pitch_toe_off_first_deg, technique.pitch_toe_off_top_deg
        ),
        dorsiflexion_swing_deg=technique.dorsiflexion_swing_deg
        + technique.dorsiflexion_offset_deg[k],
        knee_lift_deg=mix_values(technique.knee_lift_deg + 6.0, technique.knee_lift_deg),
        slip_speed_mps=mix_values(0.4, 1.0) * technique.slip_speed_mps,
    )


_SLOW_MPS: Final = (1.35, 2.5, 4.5, 9.0)


def make_slow_posture(technique: Technique, speed: float) -> Posture:
    """Posture of a slowing or walking step by speed: shin past vertical, heel first.

    Foot pitch at toe-off is that of real runners at 2.5 to 4.5 m/s, -46 to -53 deg (11 runners,
    Fukuchi et al. 2017); the rest is judgement.
    """

    def interpolate_by_speed(*values: float) -> float:
        return float(np.interp(speed, _SLOW_MPS, values))

    return Posture(
        upright=1.0,
        shin_touchdown_deg=interpolate_by_speed(105.0, 103.0, 103.0, 98.0),
        shin_toe_off_deg=interpolate_by_speed(53.0, 54.0, 48.0, 44.0),
        shin_rate_touchdown_degps=interpolate_by_speed(-80.0, -160.0, -320.0, -520.0),
        shin_swing_low_deg=interpolate_by_speed(36.0, 28.0, 8.0, -14.0),
        pitch_touchdown_deg=interpolate_by_speed(20.0, 14.0, 13.0, 4.0),
        pitch_flat_deg=interpolate_by_speed(0.0, 0.0, -0.5, -1.0),
        pitch_toe_off_deg=interpolate_by_speed(-48.0, -46.0, -52.0, -66.0),
        dorsiflexion_swing_deg=interpolate_by_speed(
            3.0, 3.0, 4.0, technique.dorsiflexion_swing_deg
        ),
        knee_lift_deg=interpolate_by_speed(24.0, 28.0, 36.0, 52.0),
        slip_speed_mps=interpolate_by_speed(0.5, 0.9, 1.5, 1.8),
        heel_first_s=interpolate_by_speed(0.09, 0.05, 0.04, 0.032),
    )
