"""Which figures a serious flag leaves in the table although they must not be trusted."""

from collections.abc import Iterable, Mapping
from typing import Final

from imuproc.core.flags import RaisedFlag
from imuproc.report.pages.labels import LABELS

_SIDES: Final = frozenset({"left", "right"})
_ANGLES: Final = {
    "shank": ("shin_angle_touchdown_deg", "ankle_ahead_of_knee_m", "dorsiflexion_swing_mean_deg"),
    "foot": ("foot_pitch_touchdown_deg", "dorsiflexion_swing_mean_deg"),
}
_TIMES: Final = ("contact_time_s", "flight_time_s", "step_frequency_hz")
_LENGTHS: Final = ("step_length_m", "speed_mps")
_OF_SEGMENT: Final = {
    "shank": (*_ANGLES["shank"], *_TIMES, *_LENGTHS),
    "foot": (*_ANGLES["foot"], *_TIMES, *_LENGTHS),
}

_ALL: Final = {"shank": tuple(LABELS), "foot": tuple(LABELS)}

# Figures that are there under a serious flag and yet not to be trusted. Flags that are not named
# here have their figures withheld, or say it in their uncertainties.
_DOUBTED: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "mounting_sign_unsure": _ANGLES,
    "stuck_channel": _OF_SEGMENT,
    "segments_swapped": _ALL,
    "sides_swapped": _ALL,
}


def doubted_sides(flags: Iterable[RaisedFlag]) -> dict[str, frozenset[str]]:
    """By figure the sides on which it must not be trusted.

    Parameters
    ----------
    flags : iterable of RaisedFlag
        Of a run as a whole. One without a sensor concerns both sides.
    """
    out: dict[str, frozenset[str]] = {}
    for flag in flags:
        side, _, segment = flag.site.partition("_")
        sides = (
            {side} & _SIDES if flag.site else _SIDES
        )  # the pelvis has no side and no figure here
        for place, figures in _DOUBTED.get(flag.name, {}).items():
            if segment in ("", place) and sides:
                out |= {name: out.get(name, frozenset()) | sides for name in figures}
    return out
