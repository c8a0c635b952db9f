"""How the figures of steps and runs stand in a terminal: heading, unit, decimals."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from imuproc.files.text import MISSING, format_fixed, format_with_uncertainty


@dataclass(frozen=True)
class TerminalFigure:
    """A figure in a terminal.

    Parameters
    ----------
    heading, unit : str
    factor : float
        From the unit of the step table to the one that is shown.
    decimals : int
    """

    heading: str
    unit: str
    factor: float
    decimals: int

    def format_number(self, value: float) -> str:
        """A value of the step table in the shown unit; a dash where there is none."""
        return format_fixed(value * self.factor, self.decimals, MISSING)

    def with_uncertainty(self, value: float, uncertainty: float) -> str:
        """A value and its standard uncertainty in the shown unit."""
        return format_with_uncertainty(
            value * self.factor, uncertainty * self.factor, self.decimals
        )


FIGURES: Final[Mapping[str, TerminalFigure]] = {
    "contact_time_s": TerminalFigure("contact", "ms", 1000.0, 0),
    "flight_time_s": TerminalFigure("flight", "ms", 1000.0, 0),
    "step_frequency_hz": TerminalFigure("freq.", "Hz", 1.0, 2),
    "step_length_m": TerminalFigure("length", "m", 1.0, 2),
    "shin_angle_touchdown_deg": TerminalFigure("shin", "deg", 1.0, 1),
    "dorsiflexion_swing_mean_deg": TerminalFigure("toe", "deg", 1.0, 1),
}
"""By column of the step table. Those that say something of their own: step time is frequency
again, and so on."""
