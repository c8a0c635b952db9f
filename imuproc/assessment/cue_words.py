"""What is said of each fault, for athlete and coach: all words of the cues.

What to try is coaching practice without a published source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from imuproc.assessment.verdicts import ABOVE, BELOW

DIFFERS: Final = "differs"
"""Direction of a cue about left and right."""


@dataclass(frozen=True)
class CueWords:
    """What to say of a fault.

    Parameters
    ----------
    title : str
        The fault in a few words.
    meaning : str
        What was seen.
    try_this : str
        What to say or do about it; common practice, no source.
    """

    title: str
    meaning: str
    try_this: str


_WORDS: Final[Mapping[tuple[str, str, str], CueWords]] = {
    ("shin_angle_touchdown_deg", ABOVE, "drive"): CueWords(
        "Shin too upright in the drive",
        "The foot lands too far forward for this phase. Such a step may brake instead of pushing.",
        "strike down and back under the hips; stay low and rise step by step.",
    ),
    ("shin_angle_touchdown_deg", BELOW, "drive"): CueWords(
        "Shin too low in the drive",
        "The knee is far ahead of the foot at touchdown. Such a step is hard to push from.",
        "finish each push before the next step; bring the knee through a little higher.",
    ),
    ("shin_angle_touchdown_deg", ABOVE, "transition"): CueWords(
        "Reaching with the foot",
        "The foot lands ahead of the knee while still gaining speed. Such a step may brake.",
        "put the foot down closer to the hips; rise more gradually out of the drive.",
    ),
    ("shin_angle_touchdown_deg", BELOW, "transition"): CueWords(
        "Staying low too long",
        "The shin still leans well forward at touchdown when the body should be coming up.",
        "let the hips and chest rise step by step after the drive.",
    ),
    ("shin_angle_touchdown_deg", ABOVE, "upright"): CueWords(
        "Reaching with the foot",
        "The foot lands further ahead of the knee than is usual at this speed, and may brake.",
        "hips tall and forward; pull the foot back before it lands.",
    ),
    ("shin_angle_touchdown_deg", BELOW, "upright"): CueWords(
        "Shin still leaning at speed",
        "The knee is well ahead of the foot at touchdown in upright running.",
        "hips taller; knee higher before the foot comes down.",
    ),
    ("contact_time_s", ABOVE, ""): CueWords(
        "Too long on the ground",
        "The foot stays on the ground longer than is usual at this speed.",
        "stiff ankle, quick off the ground, foot down closer to the hips. Strength takes time.",
    ),
    ("dorsiflexion_swing_mean_deg", BELOW, ""): CueWords(
        "Toe drops in the air",
        "Before landing the toe hangs lower than in standing, so the ankle gives on landing.",
        "toe up as soon as the foot leaves the ground, and keep it up until it lands.",
    ),
    ("shin_angle_touchdown_deg", DIFFERS, ""): CueWords(
        "Left and right differ: shin at touchdown",
        "One foot lands further ahead than the other.",
        "film both sides and look at what the hips and the other leg do.",
    ),
    ("dorsiflexion_swing_mean_deg", DIFFERS, ""): CueWords(
        "Left and right differ: toe in the air",
        "One toe is held lower than the other before landing.",
        "drill the toe up on the lower side; look at ankle range with your physio.",
    ),
    ("contact_time_s", DIFFERS, ""): CueWords(
        "Left and right differ: contact time",
        "One foot stays on the ground longer than the other.",
        "film both sides; a lasting difference is worth a look by your physio.",
    ),
    ("step_length_m", DIFFERS, ""): CueWords(
        "Left and right differ: step length",
        "Steps from one foot are longer than from the other.",
        "film both sides; a lasting difference is worth a look by your physio.",
    ),
}


def words_for(figure: str, direction: str, phase: str) -> CueWords:
    """What to say of a figure that is off target, or whose left and right differ."""
    own = _WORDS.get((figure, direction, phase)) or _WORDS.get((figure, direction, ""))
    if own is not None:
        return own
    what = figure.rsplit("_", 1)[0].replace("_", " ")
    if direction == DIFFERS:
        return CueWords(
            f"Left and right differ: {what}", f"The {what} of one side is larger.", "your call."
        )
    return CueWords(
        f"{what.capitalize()} {direction} target",
        f"The {what} was {direction} its target in the {phase} phase.",
        "your call.",
    )
