"""Runs summed up: means over the effort and by phase, left against right."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import STEP_COLUMNS, repeat_name, uncertainty_name
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.core.result import Distance, Result
from imuproc.results.columns import (
    KEY_FIGURES,
    WITH_SYMMETRY,
    difference_name,
    symmetry_angle_name,
    symmetry_name,
)
from imuproc.results.means import Mean, compute_means, list_mean_columns
from imuproc.results.summary import PhaseSummary, RunSummary
from imuproc.results.symmetry import (
    TRADED,
    compute_scatter_u,
    compute_side_means,
    compute_stated_u,
    left_minus_right,
    symmetry_angle_pct,
    symmetry_index_pct,
)
from imuproc.results.top_speed import find_top_speed

if TYPE_CHECKING:
    import pandas as pd

    from imuproc.results.archive.reading import ArchivedRun

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def format_start_time(steps: "pd.DataFrame", zero_at: datetime.datetime | None) -> str:
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


@dataclass(frozen=True, eq=False)
class Measured:
    """What the row of a run is made of.

    Parameters
    ----------
    steps : DataFrame
        Columns as in :func:`imuproc.core.columns.step_table_columns`.
    flags : tuple of RaisedFlag
    distance : Distance or None
        Of the effort; None where it is not known.
    uncertainty : mapping from str to DataFrame
        For each figure its standard uncertainty by named part, rows as in ``steps``; the means
        have none without it.
    start_time : str
        As :func:`format_start_time` gives it.
    """

    steps: "pd.DataFrame"
    flags: tuple[RaisedFlag, ...] = ()
    distance: Distance | None = None
    uncertainty: "Mapping[str, pd.DataFrame]" = field(default_factory=dict)
    start_time: str = ""


def summarise(result: Result) -> RunSummary:
    """Sum up one run that has been processed: its row of the run table, and of each phase.

    Parameters
    ----------
    result : Result
        As :func:`imuproc.process` gives it. Where that holds several runs, one of its ``parts``.

    Returns
    -------
    RunSummary

    Raises
    ------
    ValueError
        The result holds several runs.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> summary = imuproc.summarise(imuproc.process(session.read_run("R07-01")))
    >>> summary.status
    'done'
    >>> [phase.phase for phase in summary.phases]
    ['drive', 'transition', 'slowing']
    """
    if result.parts:
        raise ValueError(
            f"{result.run}: holds {len(result.parts)} runs; allowed: one, such as each of its parts"
        )
    about = result.conditioned.recording
    logs = list(about.logs.values())  # all are on the clock of the first
    measured = Measured(
        result.steps,
        result.flags,
        result.distances.get(result.run),
        result.uncertainty,
        format_start_time(result.steps, logs[0].zero_at if logs else None),
    )
    return summarise_run(result.session, about.athlete, replace(about.run, id=result.run), measured)


def summarise_archived(archived: "ArchivedRun", steps: "pd.DataFrame | None" = None) -> RunSummary:
    """Sum up one run of an open archive; of one that failed, what is known.

    Parameters
    ----------
    archived : ArchivedRun
    steps : DataFrame, optional
        Its step table where that has been read already.
    """
    told, about = archived.summary, archived.about
    if archived.status == "failed":
        return RunSummary(
            session=str(told.get("session") or ""),
            athlete=str(told.get("athlete") or ""),
            run=archived.id,
            start=str(told.get("start") or ""),
            distance_m=told.get("distance_m"),
            status="failed",
            reason=str(told.get("reason") or ""),
            group=told.get("group"),
        )
    measured = Measured(
        archived.steps if steps is None else steps,
        archived.flags,
        Distance(**archived.distance) if archived.distance else None,
        archived.uncertainty,
        str(told.get("start_time") or ""),
    )
    run = Run(**{**about["run"], "id": archived.id})
    return summarise_run(about["session"], Athlete(**about["athlete"]), run, measured)


def summarise_run(session: str, athlete: Athlete, run: Run, measured: Measured) -> RunSummary:
    """Sum up what was measured of one run.

    Parameters
    ----------
    session : str
        Session id.
    athlete : Athlete
    run : Run
        With the id under which the steps go.
    measured : Measured

    Returns
    -------
    RunSummary
        Means are over the steps that have the figure and are not in the phase ``slowing``.
        Differences are left minus right, see
        :func:`imuproc.results.symmetry.left_minus_right`.
    """
    steps = _add_missing_columns(measured.steps)
    of_step = steps["phase"].to_numpy(dtype=object)
    by_phase = {str(phase): _is_in_phase(of_step, phase) for phase in dict.fromkeys(of_step)}
    choices = [~_is_in_phase(of_step, "slowing"), *by_phase.values()]
    effort, *of_phases = compute_means(steps, measured.uncertainty, choices)
    counts, figures = summarise_steps(steps, effort)
    distance = measured.distance
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
        flags=measured.flags,
        group=athlete.group,
        start_time=measured.start_time,
        phases=tuple(
            PhaseSummary(phase, int(rows.sum()), means)
            for (phase, rows), means in zip(by_phase.items(), of_phases, strict=True)
        ),
    )


def _add_missing_columns(steps: "pd.DataFrame") -> "pd.DataFrame":
    """Tables of older versions have fewer columns."""
    return steps.reindex(columns=steps.columns.union(list(STEP_COLUMNS), sort=False))


def _is_in_phase(of_step: NDArray[Any], phase: str) -> BoolArray:
    """Which steps are of a phase."""
    return np.asarray(of_step == phase, dtype=np.bool_)


def summarise_steps(
    steps: "pd.DataFrame", means: Mapping[str, Mean] | None = None
) -> tuple[dict[str, int], dict[str, float]]:
    """Counts and figures of a run's row by column name, from its steps or those of one phase.

    Parameters
    ----------
    steps : DataFrame
        Columns as in :func:`imuproc.core.columns.step_table_columns`.
    means : mapping from str to Mean, optional
        Over the steps before ``slowing``. Left out: taken of the steps, without uncertainties.

    Returns
    -------
    counts : dict from str to int
    figures : dict from str to float
        NaN where one is missing. The uncertainty of a difference is the root of the sum of the
        squares of :func:`imuproc.results.symmetry.compute_scatter_u` and
        :func:`imuproc.results.symmetry.compute_stated_u`: the scatter from step to step, and the
        share of the stated uncertainties that all steps of a side have alike.
    """
    steps = _add_missing_columns(steps)
    in_effort = ~_is_in_phase(steps["phase"].to_numpy(dtype=object), "slowing")
    effort = steps[in_effort]
    counts, figures = list_mean_columns(means or compute_means(steps, {}, [in_effort])[0])
    counts |= {
        "steps": len(steps),
        "steps_effort": len(effort),
        "steps_flagged": int((steps["flags"].fillna("") != "").sum()),
    }
    fastest = find_top_speed(effort)
    figures |= {"top_speed_mps": fastest.value_mps, "top_speed_mps_u": fastest.u_mps}
    left = (effort["side"].to_numpy(dtype=object) == "left").astype(np.bool_)
    step = effort["step"].to_numpy(dtype=np.int64)
    for name in KEY_FIGURES:
        values, repeat_u = (
            effort[column].to_numpy(dtype=np.float64) for column in (name, repeat_name(name))
        )
        stated = compute_stated_u(
            np.where(np.isfinite(values), repeat_u, np.nan), left, name in TRADED
        )
        figures |= _compare_sides(name, values, stated, step, left)
    return counts, figures


def _compare_sides(
    name: str, values: FloatArray, stated: float, step: NDArray[np.int64], left: BoolArray
) -> dict[str, float]:
    """Difference and symmetry of a figure by column."""
    difference = left_minus_right(values, step, left)
    difference_u = float(np.hypot(compute_scatter_u(values, step, left), stated))
    figures = {
        difference_name(name): difference,
        uncertainty_name(difference_name(name)): difference_u,
    }
    if name in WITH_SYMMETRY:
        # The two sides at the same place of the run: their middle, plus and minus half.
        middle = 0.5 * sum(compute_side_means(values, left))
        pair = (middle + 0.5 * difference, middle - 0.5 * difference)
        figures[symmetry_name(name)] = symmetry_index_pct(*pair)
        # Below zero the angle is defined, but its sign no longer tells which side is larger.
        above_zero = min(pair) > 0.0
        figures[symmetry_angle_name(name)] = symmetry_angle_pct(*pair) if above_zero else np.nan
    return figures
