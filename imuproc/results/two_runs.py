"""Two runs held against each other, phase by phase."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot, sqrt
from typing import TYPE_CHECKING

import numpy as np

from imuproc.results.columns import KEY_FIGURES
from imuproc.results.summary import SURE_RATIO, RunSummary

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class PhaseDifference:
    """A figure of two runs in one phase, over the steps that both have there, in its own unit.

    Parameters
    ----------
    phase, figure : str
    steps : int
        Pairs of steps with the same number.
    first, second : float
        Means over these.
    difference : float
        Second minus first.
    u : float
        Its standard uncertainty; NaN where it is not known.
    """

    phase: str
    figure: str
    steps: int
    first: float
    second: float
    difference: float
    u: float

    @property
    def is_clear(self) -> bool:
        """Whether the runs surely differ."""
        return abs(self.difference) > SURE_RATIO * self.u


def compare_phases(
    first: RunSummary, second: RunSummary, steps: "tuple[pd.DataFrame, pd.DataFrame]"
) -> Iterator[PhaseDifference]:
    """Differences of two runs for each key figure, in every phase that both have.

    Steps of the same number are held against each other, so that the change through the run does
    not count as scatter. The standard uncertainty is that of the mean of their differences,
    s / sqrt(n) (JCGM 100:2008, 4.2.3), together with what the means of both runs have by
    measurement: ``u_repeat`` for two runs of one athlete on one day, ``u`` for any others.

    Parameters
    ----------
    first, second : RunSummary
    steps : (DataFrame, DataFrame)
        Their step tables.

    Yields
    ------
    PhaseDifference
    """
    alike = (first.session, first.athlete) == (second.session, second.athlete)
    pairs = steps[0].merge(steps[1], on=["step", "phase"], suffixes=("_first", "_second"))
    of_second = {phase.phase: phase for phase in second.phases}
    for phase in first.phases:
        together = pairs[pairs["phase"] == phase.phase]
        for figure in KEY_FIGURES if len(together) else ():
            one = together[f"{figure}_first"].to_numpy(dtype=np.float64)
            two = together[f"{figure}_second"].to_numpy(dtype=np.float64)
            known = np.isfinite(one) & np.isfinite(two)
            if known.sum() < 2:
                continue
            apart = two[known] - one[known]
            means = (phase.means[figure], of_second[phase.phase].means[figure])
            measured = hypot(*(mean.u_repeat if alike else mean.u for mean in means))
            yield PhaseDifference(
                phase=phase.phase,
                figure=figure,
                steps=len(apart),
                first=float(one[known].mean()),
                second=float(two[known].mean()),
                difference=float(apart.mean()),
                u=hypot(measured, float(apart.std(ddof=1)) / sqrt(len(apart))),
            )
