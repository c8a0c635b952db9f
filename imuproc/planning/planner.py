"""What to expect of a study before it is made: simulate its sensors and runs, judge, and reckon.

Runs and feet are simulated: this tells what sensors, rates and ranges leave of the accuracy, and
is no validation. How much real athletes vary must be stated by who plans.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import nan, sqrt
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.agreement.judging import Judged, judge, nothing_found
from imuproc.agreement.statistics.change import smallest_detectable_change
from imuproc.agreement.statistics.shares import share_of
from imuproc.core.columns import BY_NAME, FIGURES
from imuproc.core.errors import ImuprocError, SessionError
from imuproc.core.sites import SITES, Site
from imuproc.pipeline.run import process
from imuproc.planning.sample_size import needed_in_each
from imuproc.readers.plan_file import ChangeEntry, ErrorsEntry, PlanFile
from imuproc.synth.runs import make_motion, make_rig, simulate_motion
from imuproc.synth.sensors.imperfect import GRADES, SensorModel
from imuproc.synth.session import SessionPlan, Squad, plan_session

FloatArray = NDArray[np.float64]

LIMITS: Final[tuple[str, ...]] = (
    "Runs, feet, skin and sensors are simulated: real accuracy is worse, and only a comparison "
    "with a reference shows it.",
    "Each run has its sensors fastened anew, with errors of their own drawn anew.",
    "Numbers of steps hold for steps of one athlete with sensors fastened once, so that errors "
    "which all steps share cancel; steps are taken as independent.",
    "Numbers of runs hold for one athlete and runs as planned here; the athlete's own variation "
    "is the one that the plan states.",
)
"""What must be said beside every plan."""


@dataclass(frozen=True)
class Expectation:
    """Accuracy to expect, and what it takes to show changes.

    Parameters
    ----------
    accuracy : DataFrame
        One row per figure, see :func:`accuracy_table`.
    changes : DataFrame
        One row per change, see :func:`change_table`.
    runs : int
        Runs that were simulated.
    steps, found, invented : int
        True steps, those of them that were found, and steps that were none.
    failed : tuple of str
        Why runs gave no result.
    """

    accuracy: pd.DataFrame
    changes: pd.DataFrame
    runs: int
    steps: int
    found: int
    invented: int
    failed: tuple[str, ...]


def expect(plan: PlanFile, advance: Callable[[], None] | None = None) -> Expectation:
    """Simulate a plan's runs, process them and reckon what a study can show.

    Parameters
    ----------
    plan : PlanFile
    advance : callable, optional
        Called after each run.

    Returns
    -------
    Expectation

    Raises
    ------
    SessionError
        The plan asks for something that cannot be made.
    """
    judged = []
    for one in _judge_runs(plan):
        judged.append(one)
        if advance is not None:
            advance()
    accuracy = accuracy_table(judged)
    return Expectation(
        accuracy=accuracy,
        changes=change_table(accuracy, plan.change, plan.errors),
        runs=len(judged),
        steps=sum(one.real_steps for one in judged),
        found=sum(one.found for one in judged),
        invented=sum(one.invented for one in judged),
        failed=tuple(one.failed for one in judged if one.failed),
    )


def sensor_model(plan: PlanFile) -> SensorModel:
    """The plan's sensors: its grade with what the plan states of its own.

    Raises
    ------
    SessionError
        There is no such grade.
    """
    grade = plan.sensors.grade
    if grade not in GRADES:
        raise SessionError(f"grade {grade!r} is not one of {', '.join(GRADES)}")
    return replace(GRADES[grade], **plan.sensors.get_stated())  # type: ignore[arg-type]


def _judge_runs(plan: PlanFile) -> Iterator[Judged]:
    model, sensors = sensor_model(plan), plan.sensors
    squad = Squad(
        athletes=plan.runs.athletes,
        runs=plan.runs.runs,
        starts=plan.runs.starts,
        distance_m=plan.runs.distance_m,
    )
    session: SessionPlan = plan_session(squad, sensors.rate_hz, sensors.grade, plan.runs.seed)
    sites: tuple[Site, ...] = tuple(site for site in SITES if site in sensors.sites)
    for number, run in enumerate(session.runs):
        rng = np.random.default_rng([plan.runs.seed, 30, number])
        rig = make_rig(model, sensors.rate_hz, rng, sites)
        recording, truth = simulate_motion(make_motion(run.plan), rig, rng)
        try:
            yield judge(process(recording), truth, run.id)
        except ImuprocError as error:
            yield nothing_found(truth, f"{run.id}: {error}")


def accuracy_table(judged: Sequence[Judged]) -> pd.DataFrame:
    """Accuracy of every figure over all runs.

    Parameters
    ----------
    judged : sequence of Judged

    Returns
    -------
    DataFrame
        ``figure``, ``unit``, ``steps`` (true values), ``given_percent``, ``bias``, ``sd`` (about
        the bias), ``sd_within_run`` and ``sd_between_runs`` (components of variance with runs as
        groups: one-way analysis of variance with unequal groups, as in Bland & Altman 2007, J
        Biopharm Stat 17:571), ``within_2u_percent`` with its 95 % interval (Wilson), and the
        smallest change that two measured steps or two run means must differ by to be beyond
        measurement error, 1.96 sqrt(2) times their SD (Hopkins 2000, Sports Med 30:1).
        Steps that were not found count as not given.
    """
    tables = [one.errors for one in judged if len(one.errors)]
    errors = pd.concat(tables, ignore_index=True) if tables else judged[0].errors
    steps = sum(one.real_steps for one in judged)
    found = sum(one.found for one in judged)
    rows = []
    for figure in FIGURES:
        own = errors[errors["figure"] == figure]
        known = own[np.isfinite(own["true"].astype(float))]
        if len(known):
            # Steps that were not found have no row: their truth counts as that of the others.
            true = round(len(known) * steps / max(found, 1))
            rows.append(_make_accuracy_row(figure, known, true))
    return pd.DataFrame(rows, columns=list(_ACCURACY))


_ACCURACY: Final = (
    *("figure", "unit", "steps", "given_percent", "bias", "sd", "sd_within_run"),
    *("sd_between_runs", "within_2u_percent", "within_low_percent", "within_high_percent"),
    *("steps_per_run", "smallest_change_step", "smallest_change_run"),
)


def _make_accuracy_row(figure: str, known: pd.DataFrame, true: int) -> dict[str, object]:
    given = known[np.isfinite(known["error"].astype(float))]
    error = given["error"].to_numpy(dtype=np.float64)
    groups = [own["error"].to_numpy(dtype=np.float64) for _, own in given.groupby("case")]
    within, between = np.sqrt(variance_components(groups)).tolist()
    per_run = len(error) / len(groups) if groups else nan
    hits = int(np.sum(np.abs(error) <= 2.0 * given["u"].to_numpy(dtype=np.float64)))
    cover = share_of(hits, len(error))
    run_mean = sqrt(between**2 + within**2 / per_run) if groups else nan
    return {
        "figure": figure,
        "unit": BY_NAME[figure].unit,
        "steps": true,
        "given_percent": 100.0 * len(error) / true if true else nan,
        "bias": float(error.mean()) if len(error) else nan,
        "sd": float(error.std(ddof=1)) if len(error) > 1 else nan,
        "sd_within_run": within,
        "sd_between_runs": between,
        "within_2u_percent": 100.0 * cover.value,
        "within_low_percent": 100.0 * cover.low,
        "within_high_percent": 100.0 * cover.high,
        "steps_per_run": per_run,
        "smallest_change_step": smallest_detectable_change(within),
        "smallest_change_run": smallest_detectable_change(run_mean),
    }


def variance_components(groups: Sequence[FloatArray]) -> tuple[float, float]:
    """Variance within and between groups of unequal size.

    Parameters
    ----------
    groups : sequence of ndarray
        Values of each group; empty ones do not count.

    Returns
    -------
    within, between : float
        Mean square within groups, and (mean square between - within) / n0, at least 0; NaN where
        there are fewer than two groups, or no group has two values.
    """
    groups = [group for group in groups if len(group)]
    sizes = np.array([len(group) for group in groups], dtype=np.float64)
    count, total = len(groups), float(sizes.sum())
    if count < 2 or total <= count:
        return nan, nan
    means = np.array([group.mean() for group in groups])
    grand = float(np.concatenate(groups).mean())
    inside = sum(float(np.sum((g - m) ** 2)) for g, m in zip(groups, means, strict=True))
    within = inside / (total - count)
    among = float(np.sum(sizes * (means - grand) ** 2)) / (count - 1)
    usual = (total - float(np.sum(sizes**2)) / total) / (count - 1)
    return within, max((among - within) / usual, 0.0)


def change_table(
    accuracy: pd.DataFrame, changes: Sequence[ChangeEntry], errors: ErrorsEntry
) -> pd.DataFrame:
    """Steps and runs that each change takes.

    Parameters
    ----------
    accuracy : DataFrame
        From :func:`accuracy_table`.
    changes : sequence of ChangeEntry
    errors : ErrorsEntry

    Returns
    -------
    DataFrame
        ``figure``, ``unit``, ``change``, ``step_sd``, ``run_sd`` as stated; ``steps_needed`` and
        ``runs_needed`` in each of two conditions; ``steps_without_error`` and
        ``runs_without_error`` where measurement were perfect. NaN where the figure was never given.
    """
    rows = []
    parts = accuracy.set_index("figure")[["sd_within_run", "sd_between_runs", "steps_per_run"]]
    for one in changes:
        within, between, per_run = (
            parts.loc[[one.figure]].to_numpy(dtype=np.float64)[0]
            if one.figure in parts.index
            else np.full(3, nan)
        ).tolist()
        step = one.step_sd**2
        needed = {
            "steps_needed": step + within**2,
            "steps_without_error": step,
            "runs_needed": one.run_sd**2 + between**2 + (step + within**2) / per_run,
            "runs_without_error": one.run_sd**2 + step / per_run,
        }
        unit = BY_NAME[one.figure].unit
        counts = {
            name: needed_in_each(one.change, sqrt(v) if v == v else nan, errors.alpha, errors.power)
            for name, v in needed.items()
        }
        rows.append({**one.model_dump(), "unit": unit, **counts})
    return pd.DataFrame(rows, columns=list(_CHANGES))


_CHANGES: Final = (
    *("figure", "unit", "change", "step_sd", "run_sd", "steps_needed", "steps_without_error"),
    *("runs_needed", "runs_without_error"),
)
