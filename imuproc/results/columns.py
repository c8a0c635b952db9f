"""Every column of the run table and of the phase table: name, unit, meaning."""

from typing import Final

from imuproc.core.columns import BY_NAME, Column, make_uncertainty_columns, uncertainty_name
from imuproc.results.top_speed import TOP_SPEED_STEPS

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
"""Figures of the step table that the rows of runs and of phases sum up."""

WITH_SYMMETRY: Final[tuple[str, ...]] = (
    "contact_time_s",
    "flight_time_s",
    "step_time_s",
    "step_frequency_hz",
    "step_length_m",
)
"""Times, frequency and lengths: the figures that symmetry index and angle are fit for."""


def mean_name(figure: str) -> str:
    """Column that holds the mean of a figure."""
    return f"mean_{figure}"


def sd_name(figure: str) -> str:
    """Column that holds the standard deviation of a figure from step to step."""
    return f"sd_{figure}"


def count_name(figure: str) -> str:
    """Column that holds how many steps the mean is over."""
    return f"n_{_strip_unit(figure)}"


def difference_name(figure: str) -> str:
    """Column of a run's row that holds left minus right of a figure."""
    return f"left_minus_right_{figure}"


def symmetry_name(figure: str) -> str:
    """Column of a run's row that holds the symmetry index of a figure."""
    return f"symmetry_{_strip_unit(figure)}_pct"


def symmetry_angle_name(figure: str) -> str:
    """Column of a run's row that holds the symmetry angle of a figure."""
    return f"symmetry_angle_{_strip_unit(figure)}_pct"


def _strip_unit(figure: str) -> str:
    return figure.rsplit("_", 1)[0]


def _make_mean_columns(name: str, over: str) -> tuple[tuple[Column, Column, Column], Column]:
    """The mean of a figure with its two uncertainties, and the count behind it."""
    what = _strip_unit(name).replace("_", " ")
    mean = Column(mean_name(name), BY_NAME[name].unit, f"Mean {what} over {over}.")
    count = Column(count_name(name), "", f"Steps behind the mean {what}.", "count")
    return (mean, *make_uncertainty_columns(mean)), count


def _list_run_columns() -> tuple[Column, ...]:
    means: list[Column] = []
    counts, differences, indices = [], [], []
    for name in KEY_FIGURES:
        what, unit = _strip_unit(name).replace("_", " "), BY_NAME[name].unit
        mean, count = _make_mean_columns(name, "the effort")
        means += mean
        counts.append(count)
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


def _list_phase_columns() -> tuple[Column, ...]:
    columns: list[Column] = []
    for name in KEY_FIGURES:
        what = _strip_unit(name).replace("_", " ")
        meaning = f"Standard deviation of {what} from step to step (divided by n - 1)."
        mean, count = _make_mean_columns(name, "the steps of the phase")
        columns += [*mean, Column(sd_name(name), BY_NAME[name].unit, meaning), count]
    return tuple(columns)


_IDS: Final = tuple(BY_NAME[name] for name in ("session", "athlete", "run"))
_TOP_SPEED: Final = f"Highest mean speed over {TOP_SPEED_STEPS} steps in a row of the effort."

RUN_COLUMNS: Final[dict[str, Column]] = {
    column.name: column
    for column in (
        *_IDS,
        Column("start", "", "How the run was started.", "key"),
        Column("distance_m", "m", "Distance that the session file states."),
        Column("distance_covered_m", "m", "Way over the steps of the effort, from step 1 on."),
        Column("distance_covered_m_u", "m", "Standard uncertainty of distance_covered_m."),
        Column("status", "", "done or failed.", "key"),
        Column("group", "", "The athlete's group where the session file states one.", "key"),
        Column("steps", "", "Steps found.", "count"),
        Column("steps_effort", "", "Steps of the effort: all but those of slowing.", "count"),
        Column("steps_flagged", "", "Steps that carry a flag of their own.", "count"),
        Column("top_speed_mps", "m/s", _TOP_SPEED),
        Column("top_speed_mps_u", "m/s", "Standard uncertainty of top_speed_mps."),
        *_list_run_columns(),
        Column(
            "start_time", "", "Time of day of step 1's touchdown, ISO 8601; empty: unknown.", "key"
        ),
        Column("flags", "", "Names of the flags of the run and its steps.", "flags"),
        Column("reason", "", "Why the run failed.", "key"),
    )
}
"""Every column of the run table by name, in order."""

PHASE_COLUMNS: Final[dict[str, Column]] = {
    column.name: column
    for column in (
        *_IDS,
        BY_NAME["phase"],
        Column("steps", "", "Steps of the run in this phase.", "count"),
        *_list_phase_columns(),
    )
}
"""Every column of the phase table by name, in order."""
