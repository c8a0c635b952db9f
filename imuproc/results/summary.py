"""One run in one row: means over the effort, left against right, flags, status."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import (
    BY_NAME,
    STEP_COLUMNS,
    Column,
    companions,
    repeat_name,
    uncertainty_name,
)
from imuproc.core.flag_policy import is_told
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.result import Distance
from imuproc.results.symmetry import (
    left_minus_right,
    mean_u,
    scatter_u,
    stated_u,
    symmetry_angle_pct,
    symmetry_index_pct,
)
from imuproc.results.top_speed import TOP_SPEED_STEPS, top_speed

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

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
"""Times, frequency and lengths: the figures that symmetry index and angle are fit for."""

TRADED: Final[tuple[str, ...]] = ("step_time_s", "step_frequency_hz", "step_length_m", "speed_mps")
"""Shared out from strides: what one side's step is short of, the other side's has too much."""

SURE: Final = 2.0
"""A difference is taken for more than noise from this many standard uncertainties on."""


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


def symmetry_angle_name(figure: str) -> str:
    """Column of a run's row that holds the symmetry angle of a figure."""
    return f"symmetry_angle_{_stem(figure)}_pct"


def _stem(figure: str) -> str:
    return figure.rsplit("_", 1)[0]


def _figure_columns() -> tuple[Column, ...]:
    means, counts, differences, indices = [], [], [], []
    for name in KEY_FIGURES:
        what, unit = name.replace("_", " ").rsplit(" ", 1)[0], BY_NAME[name].unit
        means.append(Column(mean_name(name), unit, f"Mean {what} over the effort."))
        means += companions(means[-1])
        counts.append(Column(count_name(name), "", f"Steps behind the mean {what}.", "key"))
        difference, meaning = difference_name(name), f"Left minus right of {what}, trend removed."
        differences.append(Column(difference, unit, meaning))
        meaning = f"Standard uncertainty of {difference}; empty: too few steps to tell."
        differences.append(Column(uncertainty_name(difference), unit, meaning))
        if name in WITH_SYMMETRY:
            meaning = f"200 (left - right) / (left + right) of {what}; positive: left is larger."
            indices.append(Column(symmetry_name(name), "%", meaning))
            meaning = f"(45° - atan(left / right)) / 90° of {what}; negative: left is larger."
            indices.append(Column(symmetry_angle_name(name), "%", meaning))
    return (*means, *counts, *differences, *indices)


_TOP_SPEED: Final = f"Highest mean speed over {TOP_SPEED_STEPS} steps in a row of the effort."

RUN_COLUMNS: Final[tuple[Column, ...]] = (
    Column("session", "", "Session id.", "key"),
    Column("athlete", "", "Athlete code.", "key"),
    Column("run", "", "Run id.", "key"),
    Column("start", "", "How the run was started.", "key"),
    Column("distance_m", "m", "Distance that the session file states."),
    Column("distance_covered_m", "m", "Way over the steps of the effort, from step 1 on."),
    Column("distance_covered_m_u", "m", "Standard uncertainty of distance_covered_m."),
    Column("status", "", "done or failed.", "key"),
    Column("group", "", "The athlete's group where the session file states one.", "key"),
    Column("steps", "", "Steps found.", "key"),
    Column("steps_effort", "", "Steps of the effort: all but those of the phase slowing.", "key"),
    Column("steps_flagged", "", "Steps that carry a flag of their own.", "key"),
    Column("top_speed_mps", "m/s", _TOP_SPEED),
    Column("top_speed_mps_u", "m/s", "Standard uncertainty of top_speed_mps."),
    *_figure_columns(),
    Column("start_time", "", "Time of day of step 1's touchdown, ISO 8601; empty: unknown.", "key"),
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
        Distance covered, top speed, means, differences with their uncertainties, symmetry indices
        and angles by column name; NaN where one is missing.
    flags : tuple of RaisedFlag
        Flags of the run and of its steps.
    group : str or None
        The athlete's.
    start_time : str
        Time of day of the first touchdown, see :func:`start_time`; empty where it is not known.
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

    def flag_names(self) -> list[str]:
        """Names of the flags, each once, in the order in which they were raised."""
        return list(dict.fromkeys(flag.name for flag in self.flags))

    def fault_names(self) -> list[str]:
        """Names of the flags that count where runs stand side by side: all but information."""
        return [name for name in self.flag_names() if is_told(name, "squad")]

    def surely_differ(self) -> tuple[str, ...]:
        """Key figures whose left-right difference is more than twice its standard uncertainty."""
        return tuple(name for name in KEY_FIGURES if self._sure(difference_name(name)))

    def _sure(self, column: str) -> bool:
        nothing = float("nan")  # is not larger than anything: no uncertainty, no claim
        u = self.figures.get(uncertainty_name(column), nothing)
        return abs(self.figures.get(column, nothing)) > SURE * u

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


def start_time(steps: "pd.DataFrame", zero_at: datetime.datetime | None) -> str:
    """Time of day of the first touchdown.

    Parameters
    ----------
    steps : DataFrame
        Step table of one run.
    zero_at : datetime or None
        When its clock counts 0, as :class:`imuproc.core.recording.SensorLog` tells it.

    Returns
    -------
    str
        ISO 8601 with milliseconds, and with the offset from UTC where that is known; empty where
        the time of day is not.
    """
    if zero_at is None or len(steps) == 0:
        return ""
    since = datetime.timedelta(seconds=float(steps["touchdown_s"].iloc[0]))
    return (zero_at + since).isoformat(timespec="milliseconds")


def failed_run(session: str, athlete: Athlete, run: Run, reason: str) -> RunSummary:
    """The row of a run that could not be processed."""
    start, distance_m, group = run.start, run.distance_m, athlete.group
    return RunSummary(session, athlete.id, run.id, start, distance_m, "failed", reason, group=group)


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
        :func:`imuproc.results.symmetry.left_minus_right`.
    """
    counts, figures = sum_up(steps)
    figures["distance_covered_m"] = distance.value_m if distance else float("nan")
    figures["distance_covered_m_u"] = distance.u_m if distance else float("nan")
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
        group=athlete.group,
    )


def sum_up(steps: "pd.DataFrame") -> tuple[dict[str, int], dict[str, float]]:
    """Counts and figures of a run's row by column name, from its steps or those of one phase.

    Parameters
    ----------
    steps : DataFrame
        Columns as in :func:`imuproc.core.columns.step_table_columns`.

    Returns
    -------
    counts : dict from str to int
    figures : dict from str to float
        NaN where one is missing. The uncertainty of a difference is the root of the sum of the
        squares of :func:`imuproc.results.symmetry.scatter_u` and
        :func:`imuproc.results.symmetry.stated_u`: the scatter from step to step, and the share of
        the stated uncertainties that all steps of a side have alike.
    """
    # Tables of older versions have fewer columns.
    steps = steps.reindex(columns=steps.columns.union(list(STEP_COLUMNS), sort=False))
    effort = steps[steps["phase"] != "slowing"]
    counts = {
        "steps": len(steps),
        "steps_effort": len(effort),
        "steps_flagged": int((steps["flags"].fillna("") != "").sum()),
    }
    fastest = top_speed(effort)
    figures = {"top_speed_mps": fastest.value_mps, "top_speed_mps_u": fastest.u_mps}
    left = (effort["side"].to_numpy(dtype=object) == "left").astype(np.bool_)
    step = effort["step"].to_numpy(dtype=np.int64)
    for name in KEY_FIGURES:
        values, u, repeat_u = (
            effort[column].to_numpy(dtype=np.float64)
            for column in (name, uncertainty_name(name), repeat_name(name))
        )
        known = np.isfinite(values)
        stated = stated_u(np.where(known, repeat_u, np.nan), left, name in TRADED)
        count, of_figure = _sum_up(name, values, stated, step, left)
        counts[count_name(name)] = count
        figures.update(of_figure)
        whole_u, within_u = mean_u(u[known], repeat_u[known])
        figures[uncertainty_name(mean_name(name))] = whole_u
        figures[repeat_name(mean_name(name))] = within_u
    return counts, figures


def _sum_up(
    name: str, values: FloatArray, stated: float, step: NDArray[np.int64], left: BoolArray
) -> tuple[int, dict[str, float]]:
    """Count of steps with the figure; mean, difference and symmetry of it by column."""
    present = np.isfinite(values)
    difference = left_minus_right(values, step, left)
    difference_u = float(np.hypot(scatter_u(values, step, left), stated))
    figures = {
        mean_name(name): float(values[present].mean()) if present.any() else float("nan"),
        difference_name(name): difference,
        uncertainty_name(difference_name(name)): difference_u,
    }
    if name in WITH_SYMMETRY:
        pair = (float("nan"), float("nan"))
        if np.isfinite(difference):
            # The two sides at the same place of the run: their middle, plus and minus half.
            middle = 0.5 * float(values[present & left].mean() + values[present & ~left].mean())
            pair = (middle + 0.5 * difference, middle - 0.5 * difference)
        figures[symmetry_name(name)] = symmetry_index_pct(*pair)
        # Below zero the angle is defined, but its sign no longer tells which side is larger.
        above_zero = min(pair) > 0.0
        figures[symmetry_angle_name(name)] = symmetry_angle_pct(*pair) if above_zero else np.nan
    return int(present.sum()), figures
