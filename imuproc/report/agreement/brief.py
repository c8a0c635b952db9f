"""What a study says in plain words: how many steps were found, and how far figures differ."""

from collections.abc import Mapping
from math import isfinite, sqrt
from typing import Any, Final

import numpy as np

from imuproc.agreement.study import ComparedRun, StudyResult
from imuproc.core.words import format_count
from imuproc.files.text import clean_text
from imuproc.report.agreement.quantities import format_share, quantity_of
from imuproc.report.agreement.wording import KINDS, TOLD, beyond_of, get_whole, on_average

_MOST_RUNS: Final = 8
"""Of more runs than this only their sum is told."""
_TWO_SIDED: Final = 1.96


def write_brief(result: StudyResult) -> list[str]:
    """Sentences for a coach or for the end of a command, most important first."""
    found = result.agreement
    if found is None:
        return ["No run could be compared."]
    out = []
    if len(result.compared) <= _MOST_RUNS:
        out += [_run_sentence(one) for one in result.compared]
    if len(result.compared) > 1:
        total = found.detection_total
        counts = total[(total["of"] == "contacts") & (total["part"] == "all")].iloc[0].to_dict()
        words = _say_counts(counts, beyond_of(total))
        out.append(f"All {format_count(len(result.compared), 'run')}: {words}.")
    kinds = {one.reference.kind for one in result.compared}
    other = KINDS[next(iter(kinds))] if len(kinds) == 1 else "the reference"
    for figure in TOLD:
        row = get_whole(found, figure)
        if row is not None and isfinite(row["bias"]):
            out.append(_figure_sentence(row, other))
            out += _say_frames(result.compared) if figure == "contact_time_s" else []
    return out


def _run_sentence(one: ComparedRun) -> str:
    counts = one.comparison.detection
    row = counts[(counts["of"] == "contacts") & (counts["part"] == "all")].iloc[0].to_dict()
    source = clean_text(one.reference.source)
    words = _say_counts(row, beyond_of(counts))
    return f"{one.result.run} ({one.result.athlete}) against {source}: {words}."


def _say_counts(row: Mapping[Any, Any], beyond: int) -> str:
    found, missed, invented = (int(row[name]) for name in ("found", "missed", "invented"))
    words = f"{found} of {format_count(found + missed, 'contact')} of the reference found"
    if missed:
        told = f"; {beyond} of the {missed} missed lie before or after all steps of the table"
        words += f" ({format_share(row['recall'])}{told if beyond else ''})"
    return words + f", {invented or 'none'} that it does not have"


def _figure_sentence(row: Mapping[Any, Any], other: str) -> str:
    q = quantity_of(str(row["figure"]))
    text = f"{q.name.capitalize()} {on_average(q, row['bias'])} by {other}"
    if not isfinite(row["sd"]):
        return f"{text} ({format_count(int(row['n']), 'step')}: too few to tell the scatter)."
    return (
        f"{text}; 19 of 20 steps are expected to differ by {q.format_number(row['lower'])} to "
        + (f"{q.with_unit(row['upper'])} ({format_count(int(row['n']), 'step')}).")
    )


def _say_frames(compared: tuple[ComparedRun, ...]) -> list[str]:
    """What the reference's own frames or samples explain of contact time."""
    out = []
    intervals = {one.reference.resolution_s for one in compared if one.reference.resolution_s > 0.0}
    for interval_s in sorted(intervals):
        spread_ms = 1000.0 * _TWO_SIDED * interval_s / sqrt(6.0)
        out.append(
            f"Of that, the reference's {1.0 / interval_s:.4g} pictures or samples per second alone "
            f"make up to about ±{spread_ms:.1f} ms in the contact time of a single step."
        )
    if any(not np.isfinite(one.reference.resolution_s) for one in compared):
        out.append("How fine a reference is was not stated: what that explains is not known.")
    return out
