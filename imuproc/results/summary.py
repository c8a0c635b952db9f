"""One run in one row, and each of its phases in one."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from imuproc.core.columns import uncertainty_name
from imuproc.core.flag_policy import is_told
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.results.columns import KEY_FIGURES, RUN_COLUMNS, difference_name
from imuproc.results.means import Mean

SURE_RATIO: Final = 2.0
"""A difference is clear beyond so many of its standard uncertainties: about 95 %."""


@dataclass(frozen=True)
class PhaseSummary:
    """One row of the phase table.

    Parameters
    ----------
    phase : str
    steps : int
        Steps of the run in it.
    means : mapping from str to Mean
        By key figure.
    """

    phase: str
    steps: int
    means: Mapping[str, Mean]


@dataclass(frozen=True)
class RunSummary:
    """One row of the run table.

    Parameters
    ----------
    session, athlete, run : str
        Ids.
    start : str
        How the run was started.
    distance_m : float or None
    status : {"done", "failed"}
    reason : str
        Why it failed; empty when it is done.
    counts : mapping from str to int
        ``steps``, ``steps_effort``, ``steps_flagged`` and the count behind each mean.
    figures : mapping from str to float
        Distance covered, top speed, means, differences with their uncertainties, symmetry indices
        and angles by column name; NaN where one is missing.
    flags : tuple of RaisedFlag
        Flags of the run and of its steps.
    group : str or None
        The athlete's.
    start_time : str
        Time of day of the first touchdown, see
        :func:`imuproc.results.summarising.format_start_time`; empty where it is not known.
    phases : tuple of PhaseSummary
        In the order of the run.
    """

    session: str
    athlete: str
    run: str
    start: str
    distance_m: float | None
    status: Literal["done", "failed"]
    reason: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    figures: Mapping[str, float] = field(default_factory=dict)
    flags: tuple[RaisedFlag, ...] = ()
    group: str | None = None
    start_time: str = ""
    phases: tuple[PhaseSummary, ...] = ()

    def flag_names(self) -> list[str]:
        """Names of the flags, each once, in the order in which they were raised."""
        return list(dict.fromkeys(flag.name for flag in self.flags))

    def fault_names(self) -> list[str]:
        """Names of the flags that count where runs stand side by side.

        All but information, and of steps only those before slowing down.
        """
        last = self.counts.get("steps_effort", 0)
        counted = {f.name for f in self.flags if f.step is None or f.step <= last}
        return [n for n in self.flag_names() if n in counted and is_told(n, "squad")]

    def surely_differ(self) -> tuple[str, ...]:
        """Key figures whose left-right difference is more than twice its standard uncertainty."""
        return tuple(name for name in KEY_FIGURES if self._is_sure(difference_name(name)))

    def _is_sure(self, column: str) -> bool:
        nothing = float("nan")  # is not larger than anything: no uncertainty, no claim
        u = self.figures.get(uncertainty_name(column), nothing)
        return abs(self.figures.get(column, nothing)) > SURE_RATIO * u

    def value(self, column: str) -> str | float | int | None:
        """What stands in a column of :data:`RUN_COLUMNS`; None where it is missing."""
        if column == "flags":
            return ";".join(self.flag_names())
        if column in self.counts:
            return self.counts[column]
        if column in self.figures:
            figure = self.figures[column]
            return figure if np.isfinite(figure) else None
        return {
            "session": self.session,
            "athlete": self.athlete,
            "run": self.run,
            "start": self.start,
            "start_time": self.start_time or None,
            "distance_m": self.distance_m,
            "status": self.status,
            "group": self.group,
            "reason": self.reason,
        }.get(column)

    def row(self) -> dict[str, str | float | int | None]:
        """What stands in each column of :data:`RUN_COLUMNS`."""
        return {name: self.value(name) for name in RUN_COLUMNS}


def make_failed_run(session: str, athlete: Athlete, run: Run, reason: str) -> RunSummary:
    """The row of a run that could not be processed."""
    start, distance_m, group = run.start, run.distance_m, athlete.group
    return RunSummary(session, athlete.id, run.id, start, distance_m, "failed", reason, group=group)
