"""Every run of a study beside its reference; one that cannot be compared does not stop others."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from imuproc.agreement.alignment.clock import Clock, clock_from_instant
from imuproc.agreement.compare import EXCLUSION_COLUMNS, CompareSettings, Comparison, compare
from imuproc.agreement.run_results import Results, RunResult
from imuproc.agreement.summing import Agreement
from imuproc.agreement.summing import study as agreement_of
from imuproc.core.errors import ImuprocError, RunError
from imuproc.core.reference import Reference
from imuproc.core.words import plural
from imuproc.files.text import clean_text
from imuproc.readers.study import Study, StudyRun

FEWEST_COMMON: Final = 3
"""Steps common to results and reference below which a run is not compared; chosen, no source."""
USUAL_DRIFT: Final = 50e-6
"""Standard uncertainty of the ratio of two crystals' rates (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class ComparedRun:
    """One run beside one reference."""

    asked: StudyRun
    result: RunResult
    reference: Reference
    comparison: Comparison


@dataclass(frozen=True)
class NotCompared:
    """A run that could not be compared, and why."""

    asked: StudyRun
    reason: str
    athlete: str = ""
    session: str = ""


@dataclass(frozen=True, eq=False)
class StudyResult:
    """All that a study gives.

    Parameters
    ----------
    study : Study
    compared : tuple of ComparedRun
    failed : tuple of NotCompared
    agreement : Agreement or None
        None where no run could be compared.
    exclusions : DataFrame
        Every step, contact, figure and run that was not used, and why.
    """

    study: Study
    compared: tuple[ComparedRun, ...]
    failed: tuple[NotCompared, ...]
    agreement: Agreement | None
    exclusions: pd.DataFrame


def compare_study(study: Study, advance: Callable[[str], None] | None = None) -> StudyResult:
    """Compare every run of a study with its reference.

    Parameters
    ----------
    study : Study
    advance : callable, optional
        Called with the run's id after each run.
    """
    results = Results()
    compared: list[ComparedRun] = []
    failed: list[NotCompared] = []
    for asked in study.runs:
        one = _compare_run(asked, results, study.figures)
        if isinstance(one, ComparedRun):
            compared.append(one)
        else:
            failed.append(one)
        if advance is not None:
            advance(asked.id)
    agreement = agreement_of([one.comparison for one in compared]) if compared else None
    return StudyResult(
        study, tuple(compared), tuple(failed), agreement, _collect_exclusions(compared, failed)
    )


def _compare_run(
    asked: StudyRun, results: Results, figures: tuple[str, ...] | None
) -> ComparedRun | NotCompared:
    result: RunResult | None = None
    try:
        result = results.run(asked.results, asked.results_source, asked.id)
        reference = asked.read_reference()
        settings = CompareSettings(asked.window_s, result.covers_s, asked.sides)
        made = compare(result.steps, reference, _make_stated_clock(asked), settings)
        _require_common_steps(made)
    except ImuprocError as error:
        reason = clean_text(str(error))
        known = (result.athlete, result.session) if result else ()
        return NotCompared(asked, reason, *known)
    made = replace(made, notes=(*made.notes, *result.notes))
    return ComparedRun(asked, result, reference, _select_figures(made, figures))


def _make_stated_clock(asked: StudyRun) -> Clock | None:
    stated = asked.instant
    if stated is None:
        return None
    return clock_from_instant(stated.table_s, stated.reference_s, stated.u_s, USUAL_DRIFT)


def _require_common_steps(made: Comparison) -> None:
    """Refuse what is too little to say anything of."""
    counts = made.detection
    whole = counts[(counts["of"] == "contacts") & (counts["part"] == "all")].iloc[0]
    found = int(whole["found"])
    if found >= FEWEST_COMMON:
        return
    missed, invented = int(whole["missed"]), int(whole["invented"])
    raise RunError(
        f"found {plural(found, 'step')} common to the results and the reference ({missed} only in "
        f"the reference, {invented} only in the results); allowed: {FEWEST_COMMON} or more (are "
        "both of the same run, and are clock, sides and covers_s as stated?)"
    )


def _select_figures(made: Comparison, figures: tuple[str, ...] | None) -> Comparison:
    """The comparison with the figures that were asked for."""
    if figures is None:
        return made
    left_out = made.exclusions
    return replace(
        made,
        paired=made.paired[made.paired["figure"].isin(figures)].reset_index(drop=True),
        exclusions=left_out[left_out["figure"].isin(["", *figures])].reset_index(drop=True),
    )


def _collect_exclusions(
    compared: Iterable[ComparedRun], failed: Iterable[NotCompared]
) -> pd.DataFrame:
    """Whatever was not used: runs first, then what readers left out, then steps and figures."""
    rows = [
        {
            "session": one.session,
            "athlete": one.athlete,
            "run": one.asked.id,
            "of": "run",
            "reason": f"{one.asked.request.source}: not compared: {one.reason}",
        }
        for one in failed
    ]
    for each in compared:
        result = each.result
        keys = {"session": result.session, "athlete": result.athlete, "run": result.run}
        rows += [
            {
                **keys,
                "of": "reference file",
                "reason": f"{each.reference.source}: {clean_text(note)}",
            }
            for note in each.reference.notes
        ]
    of_runs = pd.DataFrame(rows, columns=list(EXCLUSION_COLUMNS))
    tables = [of_runs, *(each.comparison.exclusions for each in compared)]
    filled = [table.astype(object) for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else of_runs
