"""How figures of agreement are named and rounded for people: finer than the figures themselves."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

from imuproc.core.columns import BY_NAME
from imuproc.files.text import MISSING, format_fixed

_SHOWN: Final[Mapping[str, tuple[str, float, int]]] = {
    "s": ("ms", 1000.0, 1),
    "Hz": ("Hz", 1.0, 3),
    "deg": ("°", 1.0, 1),
    "m": ("cm", 100.0, 1),
    "m/s": ("m/s", 1.0, 2),
}
_AT: Final = {"_touchdown": " at touchdown", "_toe_off": " at toe-off"}
_EVENTS: Final = {"touchdown_s": "touchdown", "toe_off_s": "toe-off"}


@dataclass(frozen=True)
class Quantity:
    """A figure whose differences are shown.

    Parameters
    ----------
    figure : str
        Column of the step table.
    name : str
        In a sentence, in lower case.
    unit : str
        As shown.
    factor : float
        From the column's unit to the shown one.
    decimals : int
        Of differences.
    """

    figure: str
    name: str
    unit: str
    factor: float
    decimals: int

    def format_number(self, value: float) -> str:
        """A difference in the shown unit, without it."""
        return (
            format_fixed(value * self.factor, self.decimals, MISSING).replace("-", "−")
            if isfinite(value)
            else MISSING
        )

    def with_unit(self, value: float) -> str:
        """A difference with its unit."""
        return f"{self.format_number(value)}{'' if self.unit == '°' else ' '}{self.unit}"

    def format_interval(self, low: float, high: float) -> str:
        """An interval, as in ``−1.2 to 0.4``; empty where there is none."""
        if not (isfinite(low) and isfinite(high)):
            return ""
        return f"{self.format_number(low)} to {self.format_number(high)}"


def quantity_of(figure: str) -> Quantity:
    """How a figure of the step table is named and rounded here."""
    unit, factor, decimals = _SHOWN[BY_NAME[figure].unit]
    name = _EVENTS.get(figure) or figure.rsplit("_", 1)[0]
    for end, words in _AT.items():
        if figure not in _EVENTS and name.endswith(end):
            name = name.removesuffix(end) + words
    return Quantity(figure, name.replace("_", " "), unit, factor, decimals)


def format_share(value: float, decimals: int = 1) -> str:
    """A share in per cent."""
    return f"{format_fixed(100.0 * value, decimals)} %" if isfinite(value) else MISSING


def format_coefficient(value: float) -> str:
    """A correlation with three decimals, never rounded up to 1 that it is not."""
    if not isfinite(value):
        return MISSING
    if 0.9995 <= value < 1.0:
        return "> 0.999"
    return format_fixed(value, 3).replace("-", "−")
