"""What lies where in an archive, with units and meanings. DEVELOPERS.md explains it for readers."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from imuproc.core.columns import STEP_COLUMNS

SCHEMA: Final = 2
"""Version of the layout; one more with every change that a reader must know of."""

KNOWN_SCHEMAS: Final = (1, 2)
"""Versions that can be read: every one there ever was."""

FORMAT: Final = "imuproc archive"


@dataclass(frozen=True)
class Explained:
    """Unit and meaning that go with a dataset; the unit is empty for words and pure numbers."""

    unit: str
    meaning: str


ARRAYS: Final[Mapping[str, Explained]] = {
    "time_s": Explained("s", "Common regular clock of the run, counted as its first log counts."),
    "accel_mps2": Explained("m/s²", "Specific force, segment axes x forward, y left, z up."),
    "gyro_radps": Explained("rad/s", "Angular velocity, segment axes x forward, y left, z up."),
    "measured": Explained("", "1 where the sensor measured, 0 where a gap was bridged."),
    "accel_clipped": Explained("", "1 where the accelerometer was at the end of its range."),
    "gyro_clipped": Explained("", "1 where the gyroscope was at the end of its range."),
    "quat_wxyz": Explained("", "Turns segment axes into world axes X forward, Y left, Z up."),
    "velocity_mps": Explained("m/s", "Velocity of the sensor, world axes."),
    "pitch_rad": Explained("rad", "Sagittal rotation from quiet standing, toe up positive."),
    "pitch_u_rad": Explained("rad", "Standard uncertainty of pitch_rad."),
    "lever_m": Explained("m", "Sensor to ball of the foot or to ankle, segment axes."),
}

CURVES: Final[Mapping[str, str]] = {
    "shin_angle": "Forward horizontal to the line ankle-knee; 90 as in quiet standing, or upright "
    "where the lean in standing is stated.",
    "foot_pitch": "Inclination of the heel-toe line, toe up positive, 0 in quiet standing.",
    "dorsiflexion": "Ankle dorsiflexion, toe towards shin positive, 0 in quiet standing.",
}

EVENTS: Final[Mapping[str, Explained]] = {
    "side": Explained("", "Foot that is on the ground."),
    "touchdown_s": Explained("s", "First instant of contact."),
    "toe_off_s": Explained("s", "Last instant of contact."),
    "touchdown_u_s": Explained("s", "Standard uncertainty of touchdown_s."),
    "toe_off_u_s": Explained("s", "Standard uncertainty of toe_off_s."),
}

FLAGS: Final[Mapping[str, Explained]] = {
    "name": Explained("", "Name of the flag, as in the column flags of the step table."),
    "site": Explained("", "Sensor concerned; empty when it is the whole run."),
    "step": Explained("", "Step concerned; 0 when it is the whole run."),
    "run": Explained("", "Run concerned where a log held several; empty otherwise."),
    "from_s": Explained("s", "First instant of it; -inf: earlier too; NaN: none in particular."),
    "to_s": Explained("s", "Last instant of it; inf: later too; NaN: none in particular."),
    "values": Explained("", "What was found, by name with its unit, as a JSON text."),
    "detail": Explained("", "The same in words."),
    "sentence": Explained("", "What the flag means, for people."),
    "advice": Explained("", "What to do about it."),
}

TEXTS: Final[Mapping[str, str]] = {
    "order": "Ids of the runs in their order.",
    "session": "What the session file states of the session as a whole.",
    "about": "Athlete, run and sensors as the session file states them.",
    "summary": "The run's row of the run table.",
    "calibration": "How segment axes were found: rotation from sensor axes, bias, quiet standing.",
    "distance": "Way over the steps of the effort in m, its standard uncertainty and its parts.",
    "settings": "Every number that the method used, stage by stage.",
    "inputs": "SHA-256 of every input: the logs, and what the session file states of the run.",
    "versions": "Versions of the programs that made this.",
    "history": "Every stage that the signals went through, with its numbers.",
}

_UNITS: Final[tuple[tuple[str, str], ...]] = (
    ("mps3", "m/s³"),
    ("mps2", "m/s²"),
    ("mps", "m/s"),
    ("radps", "rad/s"),
    ("degps", "deg/s"),
    ("rad", "rad"),
    ("deg", "deg"),
    ("hz", "Hz"),
    ("pct", "%"),
    ("s", "s"),
    ("m", "m"),
)


def find_unit(name: str) -> str:
    """Unit at the end of a name; empty where it has none."""
    return next((unit for ending, unit in _UNITS if name.endswith(f"_{ending}")), "")


def explain_step_column(name: str) -> Explained:
    """Unit and meaning of a column of the step table."""
    known = STEP_COLUMNS.get(name)
    return Explained(known.unit, known.meaning) if known else Explained(find_unit(name), "")


def explain_uncertainty_parts(figure: str) -> Explained:
    """Unit and meaning of the parts of a figure's uncertainty."""
    return Explained(find_unit(figure), f"Standard uncertainty of {figure} by named part.")


def explain_event_column(name: str) -> Explained:
    """Unit and meaning of a column of the events."""
    return EVENTS.get(
        name, Explained(find_unit(name), "Evidence of the detector for this contact.")
    )


def explain_flag_column(name: str) -> Explained:
    """Meaning of a column of the flags."""
    return FLAGS[name]


def explain_curve(name: str) -> Explained:
    """Unit and meaning of an angle curve."""
    meaning = next((text for stem, text in CURVES.items() if name.startswith(stem)), "")
    return Explained(find_unit(name), meaning)
