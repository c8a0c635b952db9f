"""What the reference's own resolution explains of a difference."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

_EVENTS: Final[Mapping[str, int]] = {
    "touchdown_s": 1,
    "toe_off_s": 1,
    "contact_time_s": 2,
    "flight_time_s": 2,
    "step_time_s": 2,
    "step_frequency_hz": 2,
}
"""How many events each figure is made of."""


def compute_resolution_sd(figure: str, resolution_s: float, step_time_s: float) -> float:
    """SD that noting events by whole frames gives a figure.

    An event lies anywhere within its frame: T/√12; a time between two events: T/√6; step frequency:
    that over the step time squared. For events interpolated between samples this is an upper bound.

    Parameters
    ----------
    figure : str
        Column of the step table.
    resolution_s : float
        Frame or sampling interval T in s; NaN if unknown.
    step_time_s : float
        Usual step time in s, for step frequency.

    Returns
    -------
    float
        In the figure's unit; NaN for figures that are not times and where T is unknown.
    """
    events = _EVENTS.get(figure)
    if events is None:
        return float("nan")
    sd = resolution_s * np.sqrt(events / 12.0)
    return float(sd / step_time_s**2 if figure == "step_frequency_hz" else sd)


@dataclass(frozen=True)
class Explained:
    """Parts of the SD of a difference: the reference's resolution and what remains."""

    resolution_sd: float
    share: float
    remaining_sd: float


def explain_by_resolution(sd: float, part_sd: float) -> Explained:
    """Share of the variance that resolution explains, at most all of it, and what SD remains."""
    if not np.isfinite(part_sd) or not np.isfinite(sd) or sd <= 0.0:
        return Explained(part_sd, float("nan"), float("nan"))
    share = min(part_sd**2 / sd**2, 1.0)
    return Explained(part_sd, float(share), float(sd * np.sqrt(1.0 - share)))
