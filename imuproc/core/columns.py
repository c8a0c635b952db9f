"""Every column of the step table: name, unit, meaning, plausible range.

A measured column has two companions, same unit: with ``_u`` appended its standard uncertainty
against the truth in the sense of the GUM (JCGM 100:2008), and with ``_u_repeat`` that between
steps, sides and runs of one athlete in one set-up.
"""

from dataclasses import dataclass
from typing import Final, Literal


@dataclass(frozen=True)
class Column:
    """One column of the step table.

    Parameters
    ----------
    name : str
        Unit in the name.
    unit : str
        Empty for words and counts.
    meaning : str
        One sentence for people.
    kind : {"key", "count", "figure", "flags"}
        Words, whole numbers, measured figures (each with uncertainty companions), flags.
    low, high : float
        Plausible range; outside it a figure is withheld with a flag.
    """

    name: str
    unit: str
    meaning: str
    kind: Literal["key", "count", "figure", "flags"] = "figure"
    low: float = float("-inf")
    high: float = float("inf")


COLUMNS: Final[tuple[Column, ...]] = (
    Column("session", "", "Session id.", "key"),
    Column("athlete", "", "Athlete code.", "key"),
    Column("run", "", "Run id.", "key"),
    Column("step", "", "Number of the contact; 1 is the first touchdown after the start.", "count"),
    Column("side", "", "Foot that is on the ground: left or right.", "key"),
    Column("phase", "", "drive, transition, upright or slowing.", "key"),
    Column(
        "phase_alternative",
        "",
        "Neighbouring phase that the step may as well belong to; empty where its phase is sure.",
        "key",
    ),
    Column("touchdown_s", "s", "First instant of contact, on the clock of the run's first log."),
    Column("toe_off_s", "s", "Last instant of contact, on the clock of the run's first log."),
    Column("contact_time_s", "s", "Toe-off minus touchdown of this foot.", "figure", 0.04, 0.6),
    Column(
        "flight_time_s",
        "s",
        "Touchdown of the next step minus this toe-off; negative in double support.",
        "figure",
        -0.3,
        0.5,
    ),
    Column("step_time_s", "s", "Touchdown of the next step minus this one.", "figure", 0.1, 0.8),
    Column("step_frequency_hz", "Hz", "One divided by the step time.", "figure", 1.25, 10.0),
    Column(
        "shin_angle_touchdown_deg",
        "deg",
        "Forward horizontal to the line ankle-knee at touchdown; 90 as in quiet standing, "
        "upright where the lean in standing is stated; below 90 knee ahead of the ankle.",
        "figure",
        10.0,
        150.0,
    ),
    Column(
        "shin_angle_toe_off_deg",
        "deg",
        "Forward horizontal to the line ankle-knee at toe-off; 90 as at touchdown.",
        "figure",
        -20.0,
        120.0,
    ),
    Column(
        "ankle_ahead_of_knee_m",
        "m",
        "How far the ankle is ahead of the knee at touchdown; needs the shank length or stature.",
        "figure",
        -0.6,
        0.4,
    ),
    Column(
        "foot_pitch_touchdown_deg",
        "deg",
        "Inclination of the heel-toe line at touchdown, toe up positive, 0 in quiet standing.",
        "figure",
        -80.0,
        70.0,
    ),
    Column(
        "foot_pitch_toe_off_deg",
        "deg",
        "Inclination of the heel-toe line at toe-off, toe up positive, 0 in quiet standing.",
        "figure",
        -130.0,
        30.0,
    ),
    Column(
        "foot_pitch_swing_min_deg",
        "deg",
        "Least foot pitch in the last 25 % of the swing that ends at this touchdown.",
        "figure",
        -150.0,
        70.0,
    ),
    Column(
        "foot_pitch_swing_max_deg",
        "deg",
        "Largest foot pitch in the last 40 % of the swing that ends at this touchdown.",
        "figure",
        -100.0,
        90.0,
    ),
    Column(
        "dorsiflexion_touchdown_deg",
        "deg",
        "Ankle dorsiflexion at touchdown, 0 in quiet standing, toe towards shin positive.",
        "figure",
        -70.0,
        60.0,
    ),
    Column(
        "dorsiflexion_swing_min_deg",
        "deg",
        "Least dorsiflexion in the last 60 % of the swing that ends at this touchdown.",
        "figure",
        -80.0,
        60.0,
    ),
    Column(
        "dorsiflexion_swing_mean_deg",
        "deg",
        "Mean dorsiflexion in the last 40 % of the swing that ends at this touchdown.",
        "figure",
        -70.0,
        60.0,
    ),
    Column(
        "pelvis_tilt_touchdown_deg",
        "deg",
        "Forward tilt of the pelvis at touchdown, 0 in quiet standing; needs a pelvis sensor.",
        "figure",
        -60.0,
        90.0,
    ),
    Column(
        "pelvis_tilt_toe_off_deg",
        "deg",
        "Forward tilt of the pelvis at toe-off, 0 in quiet standing; needs a pelvis sensor.",
        "figure",
        -60.0,
        90.0,
    ),
    Column(
        "pelvis_tilt_stance_range_deg",
        "deg",
        "Largest less least forward tilt of the pelvis while the foot is on the ground.",
        "figure",
        0.0,
        60.0,
    ),
    Column(
        "pelvis_drop_stance_deg",
        "deg",
        "How far the pelvis falls on the side of the swinging leg in contact, from touchdown "
        "to its lowest.",
        "figure",
        -5.0,
        45.0,
    ),
    Column(
        "pelvis_rotation_range_deg",
        "deg",
        "Largest less least turn of the pelvis about the vertical over the stride that "
        "begins here.",
        "figure",
        0.0,
        90.0,
    ),
    Column(
        "hip_height_touchdown_m",
        "m",
        "Height of the hip over the ground at touchdown less that in quiet standing; needs "
        "foot, shank and thigh sensors and the leg's lengths or the stature.",
        "figure",
        -0.7,
        0.3,
    ),
    Column(
        "hip_height_stance_min_m",
        "m",
        "Least height of the hip over the ground in the first 70 % of contact, less that in quiet "
        "standing.",
        "figure",
        -0.7,
        0.3,
    ),
    Column(
        "trunk_lean_touchdown_deg",
        "deg",
        "Forward lean of the trunk at touchdown, 0 in quiet standing; needs a trunk sensor.",
        "figure",
        -45.0,
        100.0,
    ),
    Column(
        "trunk_lean_toe_off_deg",
        "deg",
        "Forward lean of the trunk at toe-off, 0 in quiet standing.",
        "figure",
        -45.0,
        100.0,
    ),
    Column(
        "waist_bend_touchdown_deg",
        "deg",
        "Lean of the trunk less tilt of the pelvis at touchdown: bent forward at the waist "
        "positive.",
        "figure",
        -60.0,
        80.0,
    ),
    Column(
        "trunk_against_shin_touchdown_deg",
        "deg",
        "Lean of the trunk less that of the shin at touchdown: 0 where they are parallel, "
        "trunk further forward positive.",
        "figure",
        -90.0,
        120.0,
    ),
    Column(
        "thigh_angle_touchdown_deg",
        "deg",
        "Line from hip to knee against the vertical at touchdown, knee ahead positive, 0 in "
        "quiet standing; needs a thigh sensor.",
        "figure",
        -60.0,
        120.0,
    ),
    Column(
        "thigh_angle_toe_off_deg",
        "deg",
        "Line from hip to knee against the vertical at toe-off, knee ahead positive.",
        "figure",
        -90.0,
        80.0,
    ),
    Column(
        "thigh_angle_swing_max_deg",
        "deg",
        "Highest thigh angle in the swing that ends at this touchdown: the knee lift.",
        "figure",
        -30.0,
        130.0,
    ),
    Column(
        "knee_angle_touchdown_deg",
        "deg",
        "Bend of the knee at touchdown, 0 in quiet standing; needs thigh and shank sensors.",
        "figure",
        -30.0,
        130.0,
    ),
    Column(
        "knee_angle_stance_min_deg",
        "deg",
        "Least bend of the knee while the foot is on the ground.",
        "figure",
        -40.0,
        120.0,
    ),
    Column(
        "knee_angle_toe_off_deg",
        "deg",
        "Bend of the knee at toe-off, 0 in quiet standing.",
        "figure",
        -40.0,
        120.0,
    ),
    Column(
        "hip_extension_toe_off_deg",
        "deg",
        "How far the thigh is behind the pelvis at toe-off, 0 in quiet standing; needs thigh "
        "and pelvis sensors.",
        "figure",
        -100.0,
        70.0,
    ),
    Column(
        "ankle_ahead_of_hip_touchdown_m",
        "m",
        "How far the ankle is ahead of the hip at touchdown; needs thigh and shank sensors "
        "and their lengths or the stature.",
        "figure",
        -0.6,
        0.8,
    ),
    Column(
        "ankle_ahead_of_hip_toe_off_m",
        "m",
        "How far the ankle is ahead of the hip at toe-off: behind it negative.",
        "figure",
        -1.0,
        0.4,
    ),
    Column(
        "step_length_m",
        "m",
        "Ball of the foot at this contact to that at the next of the other foot, along the run.",
        "figure",
        0.1,
        3.5,
    ),
    Column("speed_mps", "m/s", "Step length divided by step time.", "figure", 0.3, 13.5),
    Column("flags", "", "Names of quality flags, joined by semicolons.", "flags"),
)

BY_NAME: Final[dict[str, Column]] = {column.name: column for column in COLUMNS}
FIGURES: Final[tuple[str, ...]] = tuple(c.name for c in COLUMNS if c.kind == "figure")

EVENTS: Final = frozenset({"touchdown_s", "toe_off_s"})
TIMES: Final = frozenset(n for n in FIGURES if BY_NAME[n].unit in ("s", "Hz")) - EVENTS
TO_NEXT_STEP: Final = TIMES - {"contact_time_s"}
LENGTHS: Final = frozenset({"step_length_m", "speed_mps"})
ANGLES: Final = frozenset(FIGURES) - EVENTS - TIMES - LENGTHS
"""Kinds of figures; how far the ankle is ahead of the knee is an angle as a distance."""


def uncertainty_name(figure: str) -> str:
    """Name of the column that holds the standard uncertainty of a figure."""
    return f"{figure}_u"


def repeat_name(figure: str) -> str:
    """Name of the column that holds the standard uncertainty of a figure within a set-up."""
    return f"{figure}_u_repeat"


def make_uncertainty_columns(column: Column) -> tuple[Column, Column]:
    """The two columns that hold the standard uncertainties of a figure."""
    whole = f"Standard uncertainty of {column.name} against the truth."
    repeat = f"Standard uncertainty of {column.name} between steps, sides and runs of a set-up."
    return (
        Column(uncertainty_name(column.name), column.unit, whole),
        Column(repeat_name(column.name), column.unit, repeat),
    )


_COMPANIONS: Final = [make_uncertainty_columns(BY_NAME[name]) for name in FIGURES]

STEP_COLUMNS: Final[dict[str, Column]] = {
    column.name: column
    for column in (
        *COLUMNS,
        *(whole for whole, _ in _COMPANIONS),
        *(repeat for _, repeat in _COMPANIONS),
    )
}
"""Every column of the step table by name, in order: figures, then their uncertainties."""


def step_table_columns() -> list[str]:
    """All column names of the step table in order: figures, then their uncertainties."""
    return list(STEP_COLUMNS)
