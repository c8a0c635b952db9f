"""What each figure is called on paper and screen: plain words, unit, factor, decimals."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from imuproc.files.text import MISSING, format_fixed


@dataclass(frozen=True)
class Label:
    """How a figure of the step table is shown to people.

    Parameters
    ----------
    figure : str
        Column of the step table.
    name : str
        In a sentence, in lower case.
    short : str
        Heading of a table.
    unit : str
        As shown.
    factor : float
        From the column's unit to the shown one.
    decimals : int
    why : str
        What it is, in a line.
    """

    figure: str
    name: str
    short: str
    unit: str
    factor: float
    decimals: int
    why: str

    def format_number(self, value: float) -> str:
        """A value in the shown unit, without it."""
        return format_fixed(value * self.factor, self.decimals, MISSING)

    def with_unit(self, value: float) -> str:
        """A value with its unit."""
        space = "" if self.unit == "°" else " "
        return f"{self.format_number(value)}{space}{self.unit}"

    def format_signed(self, value: float) -> str:
        """A deviation with its sign and unit; at least one in the last place."""
        least = 10.0**-self.decimals
        size = max(abs(value * self.factor), least)
        space = "" if self.unit == "°" else " "
        return f"{'+' if value > 0.0 else '−'}{format_fixed(size, self.decimals)}{space}{self.unit}"

    def format_uncertainty(self, value: float) -> str:
        """A standard uncertainty, never rounded to nothing; empty where there is none."""
        if not np.isfinite(value):
            return ""
        return format_fixed(max(value * self.factor, 10.0**-self.decimals), self.decimals)


LABELS: Final[dict[str, Label]] = {
    label.figure: label
    for label in (
        Label(
            "shin_angle_touchdown_deg", "shin angle", "Shin", "°", 1.0, 0,
            "Lower leg against the ground ahead when the foot comes down. 90° is upright as in "
            "standing, less is knee ahead of the ankle.",
        ),
        Label(
            "dorsiflexion_swing_mean_deg", "toe in the air", "Toe", "°", 1.0, 0,
            "Ankle bend (dorsiflexion), mean of the last 40 % of the swing before this touchdown. "
            "0° is as in standing, plus is toe up.",
        ),
        Label(
            "contact_time_s", "contact time", "Contact", "ms", 1000.0, 0,
            "From touchdown to toe-off.",
        ),
        Label(
            "flight_time_s", "flight time", "Flight", "ms", 1000.0, 0,
            "From this toe-off to the next touchdown.",
        ),
        Label(
            "step_frequency_hz", "step frequency", "Frequency", "Hz", 1.0, 2,
            "One divided by the time to the next touchdown.",
        ),
        Label(
            "step_length_m", "step length", "Length", "m", 1.0, 2,
            "Ball of the foot at this contact to that at the next.",
        ),
        Label(
            "speed_mps", "speed", "Speed", "m/s", 1.0, 1,
            "Step length divided by step time.",
        ),
        Label(
            "ankle_ahead_of_knee_m", "ankle ahead of knee", "Ankle ahead of knee", "cm", 100.0, 0,
            "How far the ankle is ahead of the knee at touchdown; minus is behind.",
        ),
        Label(
            "foot_pitch_touchdown_deg", "foot at touchdown", "Foot", "°", 1.0, 0,
            "Slope of the foot (pitch) when it comes down. 0° is flat, minus is toe first.",
        ),
    )
}  # fmt: skip
"""Figures that the pages show, in their order there."""


BODY_LABELS: Final[dict[str, Label]] = {
    label.figure: label
    for label in (
        Label(
            "ankle_ahead_of_hip_touchdown_m", "foot ahead of the hips", "Foot ahead of hips",
            "cm", 100.0, 0,
            "How far the ankle is ahead of the hip when the foot comes down; 0 is under the hips.",
        ),
        Label(
            "hip_height_touchdown_m", "height of the hips", "Hips", "cm", 100.0, 0,
            "Height of the hip at touchdown against standing: below 0 is lower.",
        ),
        Label(
            "pelvis_tilt_touchdown_deg", "pelvis tilt", "Pelvis", "°", 1.0, 0,
            "Forward tilt of the pelvis at touchdown. 0° is as in standing.",
        ),
        Label(
            "trunk_lean_touchdown_deg", "trunk lean", "Trunk", "°", 1.0, 0,
            "Forward lean of the trunk at touchdown. 0° is as in standing.",
        ),
        Label(
            "waist_bend_touchdown_deg", "bend at the waist", "Waist", "°", 1.0, 0,
            "Trunk lean less pelvis tilt at touchdown: plus is bent forward at the waist.",
        ),
        Label(
            "thigh_angle_swing_max_deg", "knee lift", "Knee lift", "°", 1.0, 0,
            "Highest thigh angle in the swing before this touchdown: 90° is a level thigh.",
        ),
        Label(
            "hip_extension_toe_off_deg", "hip extension", "Hip extension", "°", 1.0, 0,
            "How far the thigh is behind the pelvis at toe-off. 0° is as in standing.",
        ),
        Label(
            "pelvis_drop_stance_deg", "drop of the hips", "Hip drop", "°", 1.0, 0,
            "How far the pelvis falls on the side of the swinging leg while this foot is down.",
        ),
    )
}  # fmt: skip
"""Figures of hips, trunk and thighs that a run page shows where there are sensors for them."""


def label_of(figure: str) -> Label:
    """The label of any figure; one made from its column's name where it has none of its own."""
    own = LABELS.get(figure) or BODY_LABELS.get(figure)
    if own is not None:
        return own
    from imuproc.core.columns import BY_NAME

    column = BY_NAME[figure]
    name = figure.rsplit("_", 1)[0].replace("_", " ")
    unit = {"deg": "°"}.get(column.unit, column.unit)
    decimals = {"deg": 0, "s": 3, "m": 2, "m/s": 1}.get(column.unit, 2)
    return Label(figure, name, name.capitalize(), unit, 1.0, decimals, column.meaning)


STARTS: Final = {
    "blocks": "from blocks",
    "three-point": "three-point start",
    "crouch": "crouch start",
    "standing": "standing start",
    "rolling": "rolling start",
}
