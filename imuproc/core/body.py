"""Lengths of the body as shares of stature, for athletes whose own are not known.

Drillis & Contini 1966 as given by Winter (values from memory).
"""

from typing import Final

SHANK_PER_STATURE: Final = 0.246
THIGH_PER_STATURE: Final = 0.245
FOOT_PER_STATURE: Final = 0.152
HIP_HEIGHT_PER_STATURE: Final = 0.530
ANKLE_HEIGHT_PER_STATURE: Final = 0.039
