"""Words for people: free text made safe, numbers rounded, uncertainties beside them."""

import math
import re
from typing import Final

# C0 and C1 controls, line separators and the bidirectional overrides: they move a terminal's
# cursor, change its colours or reorder what is read.
_CONTROLS: Final = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u202a-\u202e\u2066-\u2069]+"
)
_ESCAPES: Final = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]")  # a terminal's colour and cursor codes
_FORMULA_STARTS: Final = ("=", "+", "-", "@")

MISSING: Final = "-"
"""What stands in a table for people where there is no figure."""


def clean_text(text: str) -> str:
    """Free text on one line, without control characters."""
    return re.sub(r"\s+", " ", _CONTROLS.sub(" ", _ESCAPES.sub("", text))).strip()


def escape_formula(text: str) -> str:
    """Free text for a CSV cell: cleaned, and never taken for a formula by a spreadsheet."""
    cleaned = clean_text(text)
    return f"'{cleaned}" if cleaned.startswith(_FORMULA_STARTS) else cleaned


def unescape_formula(cell: str) -> str:
    """What :func:`escape_formula` was given, but for what cleaning took away."""
    return cell[1:] if cell.startswith(tuple(f"'{start}" for start in _FORMULA_STARTS)) else cell


def format_fixed(value: float, decimals: int, missing: str = "") -> str:
    """A number with fixed decimals and no minus zero; ``missing`` where it is not finite."""
    return f"{value:z.{decimals}f}" if math.isfinite(value) else missing


def format_with_uncertainty(value: float, uncertainty: float, decimals: int) -> str:
    """A figure and its standard uncertainty, as in ``47.3 ±0.8``.

    An uncertainty is never rounded to nothing: ``±0`` would claim a certainty that is not there.
    """
    if not math.isfinite(value):
        return MISSING
    if not math.isfinite(uncertainty):
        return format_fixed(value, decimals)
    least = 10.0**-decimals
    return f"{format_fixed(value, decimals)} ±{format_fixed(max(uncertainty, least), decimals)}"
