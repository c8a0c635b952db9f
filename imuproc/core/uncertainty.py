"""Every named part of a standard uncertainty, and the parts of which each figure's is made up.

Parts are standard uncertainties in the unit of their figure; the root of the sum of their squares
is the combined one (JCGM 100:2008, 5.1), in the column with ``_u`` appended.
"""

from typing import Final

PARTS: Final[dict[str, str]] = {
    "event": "The event's time is uncertain; for an angle, times its rate of turning.",
    "touchdown": "Touchdowns that begin or end the stretch of time or share out strides to steps.",
    "toe_off": "Toe-offs that end the stretch of time or share out strides to steps.",
    "rate": "What the sampling rate adds to events; to angles by undersampled impacts.",
    "drift": "Sensor errors and their growth from standing to this instant, as solved for.",
    "alignment": "The axis of the segment against the direction of running.",
    "soft_tissue": "Motion of the sensor on the skin or shoe.",
    "gap": "Samples that are missing, as far as they matter at this instant.",
    "length": "The lengths of shank and thigh.",
    "stride": "Errors of stride lengths by chance, clipped and missing samples of theirs included.",
    "stance": "The ball of the foot is not quite at rest in mid-stance, alike in all stances.",
    "clipping": "What clipped samples may hide; of a length, in all strides alike.",
    "asymmetry": "Strides do not tell how left and right step share them.",
    "clock": "Clocks of two sensors against each other; for an angle, times its rate of turning.",
    "reference": "What laboratories, force thresholds and shoes differ by in when a contact begins "
    "and ends, alike in a whole set-up; for an angle, times its rate of turning.",
    "standing": "Posture of quiet standing, the zero of angles, from one day to another.",
}
"""Name of each part and what it stands for."""

SET_UP: Final = frozenset({"reference", "standing"})
"""Parts that all steps of one athlete in one set-up share: they tell against the truth and against
another day, not between steps, sides and runs."""

RUN: Final = frozenset({"drift", "alignment", "soft_tissue", "length", "stance", "clipping"})
"""Parts that besides all steps of a run share: errors of its sensors, of how they sit and of what
they miss, of the athlete's lengths, and of how the ball of the foot rests."""

_OWN: Final = ("drift", "clipping", "rate", "alignment", "soft_tissue", "gap", "event", "clock")
_ANGLE: Final = (*_OWN, "reference", "standing")
_RANGE: Final = ("soft_tissue", "gap", "event", "clock", "reference")
_LENGTH: Final = ("stride", "stance", "clipping", "asymmetry", "touchdown", "toe_off", "clock")

PARTS_OF: Final[dict[str, tuple[str, ...]]] = {
    "touchdown_s": ("event", "rate", "clock", "reference"),
    "toe_off_s": ("event", "rate", "clock", "reference"),
    "contact_time_s": ("touchdown", "toe_off", "rate", "reference"),
    "flight_time_s": ("touchdown", "toe_off", "rate", "clock", "reference"),
    "step_time_s": ("touchdown", "rate", "clock"),
    "step_frequency_hz": ("touchdown", "rate", "clock"),
    "shin_angle_touchdown_deg": _ANGLE,
    "shin_angle_toe_off_deg": _ANGLE,
    "ankle_ahead_of_knee_m": (*_ANGLE, "length"),
    "foot_pitch_touchdown_deg": _ANGLE,
    "foot_pitch_toe_off_deg": _ANGLE,
    "foot_pitch_swing_min_deg": _ANGLE,
    "foot_pitch_swing_max_deg": _ANGLE,
    "dorsiflexion_touchdown_deg": _ANGLE,
    "dorsiflexion_swing_min_deg": _ANGLE,
    "dorsiflexion_swing_mean_deg": _ANGLE,
    "pelvis_tilt_touchdown_deg": _ANGLE,
    "pelvis_tilt_toe_off_deg": _ANGLE,
    "pelvis_tilt_stance_range_deg": _RANGE,
    "pelvis_drop_stance_deg": _RANGE,
    "pelvis_rotation_range_deg": _RANGE,
    "hip_height_touchdown_m": (*_ANGLE, "length"),
    "hip_height_stance_min_m": (*_ANGLE, "length"),
    "trunk_lean_touchdown_deg": _ANGLE,
    "trunk_lean_toe_off_deg": _ANGLE,
    "waist_bend_touchdown_deg": _ANGLE,
    "trunk_against_shin_touchdown_deg": _ANGLE,
    "thigh_angle_touchdown_deg": _ANGLE,
    "thigh_angle_toe_off_deg": _ANGLE,
    "thigh_angle_swing_max_deg": _ANGLE,
    "knee_angle_touchdown_deg": _ANGLE,
    "knee_angle_stance_min_deg": _ANGLE,
    "knee_angle_toe_off_deg": _ANGLE,
    "hip_extension_toe_off_deg": _ANGLE,
    "ankle_ahead_of_hip_touchdown_m": (*_ANGLE, "length"),
    "ankle_ahead_of_hip_toe_off_m": (*_ANGLE, "length"),
    "step_length_m": _LENGTH,
    "speed_mps": _LENGTH,
}
"""Parts of each figure of the step table."""
