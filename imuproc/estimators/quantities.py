"""Quantities of all steps with their standard uncertainty by named part."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from imuproc.core.uncertainty import SET_UP

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Quantity:
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
        return self._combine_parts(self.parts.keys())

    @property
    def repeat_uncertainty(self) -> FloatArray:
        """Standard uncertainty between steps, sides and runs of one athlete in one set-up."""
        return self._combine_parts(self.parts.keys() - SET_UP)

    def _combine_parts(self, names: Collection[str]) -> FloatArray:
        if not names:
            return np.full(len(self.value), np.nan)
        total = np.sqrt(sum(np.square(self.parts[name]) for name in self.parts if name in names))
        return np.where(np.isfinite(self.value), total, np.nan)


def make_missing(count: int) -> Quantity:
    """A column without any value."""
    return Quantity(np.full(count, np.nan))


def withhold(figures: Mapping[str, Quantity], names: Collection[str]) -> dict[str, Quantity]:
    """Quantities with some of them missing.

    Parameters
    ----------
    figures : mapping from column name to Quantity
    names : collection of str
        Columns that are to be empty.

    Returns
    -------
    dict from column name to Quantity
    """
    return {
        name: make_missing(len(figure.value)) if name in names else figure
        for name, figure in figures.items()
    }
