"""Figures of all steps with their standard uncertainty by named part."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Figure:
    """One column: a value per step and the parts of its standard uncertainty.

    Parameters
    ----------
    value : ndarray, shape (m,)
        NaN where it is missing.
    parts : mapping from str to ndarray, shape (m,)
        Standard uncertainty by named part (events, drift, alignment, ...), same unit as the value.
    """

    value: FloatArray
    parts: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def uncertainty(self) -> FloatArray:
        """Combined standard uncertainty: root sum of squares of the parts (JCGM 100:2008, 5.1)."""
        if not self.parts:
            return np.full(len(self.value), np.nan)
        total = np.sqrt(sum(np.square(part) for part in self.parts.values()))
        return np.where(np.isfinite(self.value), total, np.nan)


def missing(count: int) -> Figure:
    """A column without any value."""
    return Figure(np.full(count, np.nan))


def events_only(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    """Figures without those that need time to run as the logs say: only the events are left.

    Parameters
    ----------
    figures : mapping from column name to Figure

    Returns
    -------
    dict from column name to Figure
    """
    return {
        name: figure if name in ("touchdown_s", "toe_off_s") else missing(len(figure.value))
        for name, figure in figures.items()
    }


def without_lengths(figures: Mapping[str, Figure]) -> dict[str, Figure]:
    """Figures without lengths along the way and speed.

    Parameters
    ----------
    figures : mapping from column name to Figure

    Returns
    -------
    dict from column name to Figure
    """
    return {
        name: missing(len(figure.value)) if name in ("step_length_m", "speed_mps") else figure
        for name, figure in figures.items()
    }
