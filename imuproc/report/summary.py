"""One run in one row: means over the effort, left against right, flags, status."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from imuproc.core.columns import BY_NAME, Column
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.result import Distance
from imuproc.report.symmetry import left_minus_right, symmetry_index_pct

if TYPE_CHECKING:
    import pandas as pd

KEY_FIGURES: Final[tuple[str, ...]] = (
    "contact_time_s",
    "flight_time_s",
    "step_time_s",
    "step_frequency_hz",
    "shin_angle_touchdown_deg",
    "foot_pitch_touchdown_deg",
    "dorsiflexion_touchdown_deg",
    "dorsiflexion_swing_mean_deg",
    "step_length_m",
    "speed_mps",
)
"""Figures of the step table that a run's row sums up."""

WITH_SYMMETRY: Final[tuple[str, ...]] = (
    "contact_time_s",
    "flight_time_s",
    "step_time_s",
    "step_frequency_hz",
    "step_length_m",
)
"""Times, frequency and lengths: the figures that a symmetry index is fit for."""


def mean_name(figure: str) -> str:
    """Column of a run's row that holds the mean of a figure."""
    return f"mean_{figure}"


def count_name(figure: str) -> str:
    """Column of a run's row that holds how many steps the mean is over."""
    return f"n_{_stem(figure)}"


def difference_name(figure: str) -> str:
    """Column of a run's row that holds left minus right of a figure."""
    return f"left_minus_right_{figure}"


def symmetry_name(figure: str) -> str:
    """Column of a run's row that holds the symmetry index of a figure."""
    return f"symmetry_{_stem(figure)}_pct"


def _stem(figure: str) -> str:
    return figure.rsplit("_", 1)[0]


def _figure_columns() -> tuple[Column, ...]:
    means, counts, differences, indices = [], [], [], []
    for name in KEY_FIGURES:
        what, unit = name.replace("_", " ").rsplit(" ", 1)[0], BY_NAME[name].unit
        means.append(Column(mean_name(name), unit, f"Mean {what} over the effort."))
        counts.append(Column(count_name(name), "", f"Steps behind the mean {what}.", "key"))
        differences.append(
            Column(difference_name(name), unit, f"Left minus right of {what}, trend removed.")
        )
        if name in WITH_SYMMETRY:
            meaning = f"200 (left - right) / (left + right) of {what}."
            indices.append(Column(symmetry_name(name), "%", meaning))
    return (*means, *counts, *differences, *indices)


RUN_COLUMNS: Final[tuple[Column, ...]] = (
    Column("session", "", "Session id.", "key"),
    Column("athlete", "", "Athlete code.", "key"),
    Column("run", "", "Run id.", "key"),
    Column("start", "", "How the run was started.", "key"),
    Column("distance_m", "m", "Distance that the session file states."),
    Column("distance_covered_m", "m", "Way over the steps of the effort, from step 1 on."),
    Column("distance_covered_m_u", "m", "Standard uncertainty of distance_covered_m."),
    Column("status", "", "done or failed.", "key"),
    Column("steps", "", "Steps found.", "key"),
    Column("steps_effort", "", "Steps of the effort: all but those of the phase slowing.", "key"),
    Column("steps_flagged", "", "Steps that carry a flag of their own.", "key"),
    *_figure_columns(),
    Column("flags", "", "Names of the flags of the run and its steps.", "flags"),
    Column("reason", "", "Why the run failed.", "key"),
)
"""Every column of the run table in order."""


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
        Distance covered, means, differences and symmetry indices by column name; NaN where one is
        missing.
    flags : tuple of RaisedFlag
        Flags of the run and of its steps.
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

    def flag_names(self) -> list[str]:
        """Names of the flags, each once, in the order in which they were raised."""
        return list(dict.fromkeys(flag.name for flag in self.flags))

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
            "distance_m": self.distance_m,
            "status": self.status,
            "reason": self.reason,
        }.get(column)


def failed_run(session: str, athlete: Athlete, run: Run, reason: str) -> RunSummary:
    """The row of a run that could not be processed."""
    return RunSummary(session, athlete.id, run.id, run.start, run.distance_m, "failed", reason)


def summarise_run(
    session: str,
    athlete: Athlete,
    run: Run,
    steps: "pd.DataFrame",
    flags: tuple[RaisedFlag, ...],
    distance: Distance | None = None,
) -> RunSummary:
    """Sum up the step table of one run.

    Parameters
    ----------
    session : str
        Session id.
    athlete : Athlete
    run : Run
        With the id under which the steps go.
    steps : DataFrame
        Columns as in :func:`imuproc.core.columns.step_table_columns`.
    flags : tuple of RaisedFlag
    distance : Distance, optional
        Of the effort; left out where it is not known.

    Returns
    -------
    RunSummary
        Means are over the steps that have the figure and are not in the phase ``slowing``.
        Differences are left minus right, see
        :func:`imuproc.report.symmetry.left_minus_right`.
    """
    effort = steps[steps["phase"] != "slowing"]
    counts = {
        "steps": len(steps),
        "steps_effort": len(effort),
        "steps_flagged": int((steps["flags"].fillna("") != "").sum()),
    }
    figures: dict[str, float] = {
        "distance_covered_m": distance.value_m if distance else float("nan"),
        "distance_covered_m_u": distance.u_m if distance else float("nan"),
    }
    for name in KEY_FIGURES:
        count, of_figure = _sum_up(effort, name)
        counts[count_name(name)] = count
        figures.update(of_figure)
    return RunSummary(
        session,
        athlete.id,
        run.id,
        run.start,
        run.distance_m,
        "done",
        counts=counts,
        figures=figures,
        flags=flags,
    )


def _sum_up(effort: "pd.DataFrame", name: str) -> tuple[int, dict[str, float]]:
    """Count of steps with the figure; its mean, difference and symmetry index by column."""
    values = effort[name].to_numpy(dtype=np.float64)
    left = (effort["side"] == "left").to_numpy(dtype=np.bool_)
    present = np.isfinite(values)
    difference = left_minus_right(values, effort["step"].to_numpy(dtype=np.int64), left)
    figures = {
        mean_name(name): float(values[present].mean()) if present.any() else float("nan"),
        difference_name(name): difference,
    }
    if name in WITH_SYMMETRY:
        index = float("nan")
        if np.isfinite(difference):
            # The two sides at the same place of the run: their middle, plus and minus half.
            middle = 0.5 * float(values[present & left].mean() + values[present & ~left].mean())
            index = symmetry_index_pct(middle + 0.5 * difference, middle - 0.5 * difference)
        figures[symmetry_name(name)] = index
    return int(present.sum()), figures
