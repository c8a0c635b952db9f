"""The page of a study for people: self-contained, everything escaped."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

import pandas as pd
from markupsafe import Markup

from imuproc.agreement.study import StudyResult
from imuproc.core.words import format_count
from imuproc.files.text import MISSING, clean_text, format_fixed
from imuproc.report.agreement.brief import write_brief
from imuproc.report.agreement.quantities import (
    Quantity,
    format_coefficient,
    format_share,
    quantity_of,
)
from imuproc.report.agreement.tables import EXCLUSIONS_CSV
from imuproc.report.agreement.wording import Paragraphs
from imuproc.report.pages.rendering import render_page

AGREEMENT_HTML: Final = "agreement.html"
_PARTS: Final = {
    "all": "all", "first": "first of each run", "between": "between", "last": "last of each run",
    "beyond": "before or after all steps of the table",
}  # fmt: skip
_PARTED: Final = (
    ("phase", "By phase"),
    ("side", "By side"),
    ("reference", "By reference"),
    ("speed", "By speed"),
)
_FIRST: Final = {"drive": 0, "slowing": 2}
"""Order of groups that is not that of the alphabet."""
_MOST_ROWS: Final = 300
"""Rows of exclusions on the page; all are in the file."""


@dataclass(frozen=True)
class Chart:
    """A picture on the page: its name in the files, title, SVG, and words for it."""

    name: str
    title: str
    svg: Markup
    alt: str
    caption: str


@dataclass(frozen=True)
class Row:
    """One row of the table of agreement, as shown."""

    name: str
    cells: tuple[str, ...]


HEADINGS: Final = (
    ("n", ""),
    ("Athletes", ""),
    ("Bias", "95 % interval"),
    ("SD", ""),
    ("Lower limit", "95 % interval"),
    ("Upper limit", "95 % interval"),
    ("RMSE", ""),
    ("Slope", "on the mean"),
    ("ICC", "95 % interval"),
    ("Concordance", "95 % interval"),
    ("Typical error", ""),
    ("Smallest detectable change", ""),
    ("Share of variance by resolution", ""),
    ("Within 2 u", "of all"),
)


def agreement_page(result: StudyResult, words: Paragraphs | None, charts: Sequence[Chart]) -> str:
    """HTML of the page.

    Parameters
    ----------
    result : StudyResult
    words : Paragraphs or None
        None where no run was compared.
    charts : sequence of Chart
    """
    compared = result.compared
    content = {
        "study": clean_text(result.study.id),
        "note": clean_text(result.study.note or ""),
        "facts": _list_facts(result),
        "brief": write_brief(result),
        "failed": [(one.asked.id, clean_text(one.reason)) for one in result.failed],
        "charts": charts,
        "headings": HEADINGS,
        "tables": _make_tables(result),
        "detection": _make_detection(result),
        "clocks": _make_clocks(result),
        "exclusions": _list_exclusions(result.exclusions),
        "excluded": format_count(len(result.exclusions), "row"),
        "exclusions_file": EXCLUSIONS_CSV,
        "words": words,
        "notes": sorted({clean_text(n) for one in compared for n in one.comparison.notes}),
    }
    return render_page("agreement.html.j2", content)


def _list_facts(result: StudyResult) -> list[tuple[str, str]]:
    kinds = dict.fromkeys(one.reference.kind for one in result.compared)
    athletes = {one.result.athlete for one in result.compared}
    facts = [
        ("Athletes", str(len(athletes))),
        ("Compared", format_count(len(result.compared), "run")),
        ("Not compared", format_count(len(result.failed), "run")),
    ]
    if kinds:
        facts.append(("Reference", ", ".join(kinds)))
    return facts


def _make_tables(result: StudyResult) -> list[tuple[str, list[Row], bool]]:
    """Title, rows, and whether they are shown at once: whole, run means, and parts."""
    if result.agreement is None:
        return []
    table = result.agreement.agreement
    whole = table["by"] == "all"
    out = [
        (title, [_make_row(row) for row in _to_dicts(table[whole & (table["per"] == per)])], True)
        for title, per in (("Single steps", "step"), ("Means of runs", "run"))
    ]
    for by, title in _PARTED:
        part = table[(table["by"] == by) & (table["per"] == "step")]
        if part["group"].nunique() > 1:
            rows = sorted(_to_dicts(part), key=lambda row: _FIRST.get(str(row["group"]), 1))
            order = {figure: n for n, figure in enumerate(part["figure"].unique())}
            rows.sort(key=lambda row: order[row["figure"]])
            out.append(
                (f"{title}, single steps", [_make_row(r, grouped=True) for r in rows], False)
            )
    return out


def _to_dicts(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]


def _make_row(row: Mapping[str, Any], grouped: bool = False) -> Row:
    q = quantity_of(str(row["figure"]))
    name = f"{q.name.capitalize()} ({q.unit})"
    if grouped:
        name += f", {clean_text(str(row['group']))}"
    slope = (
        format_fixed(row["slope"], 3, MISSING).replace("-", "−")
        if isfinite(row["slope"])
        else MISSING
    )
    cells = (
        str(int(row["n"])),
        str(int(row["athletes"])),
        _with_interval(q, row, "bias"),
        q.format_number(row["sd"]),
        _with_interval(q, row, "lower"),
        _with_interval(q, row, "upper"),
        q.format_number(row["rmse"]),
        slope,
        _format_coefficient(row, "icc"),
        _format_coefficient(row, "ccc"),
        q.format_number(row["typical_error"]),
        q.format_number(row["smallest_detectable_change"]),
        format_share(row["resolution_share"], 0),
        format_share(row["within_2u"], 0),
    )
    return Row(name, cells)


def _with_interval(q: Quantity, row: Mapping[str, Any], name: str) -> str:
    around = q.format_interval(row[f"{name}_low"], row[f"{name}_high"])
    return q.format_number(row[name]) + (f" ({around})" if around else "")


def _format_coefficient(row: Mapping[str, Any], name: str) -> str:
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    around = f" ({format_coefficient(low)} to {format_coefficient(high)})" if isfinite(low) else ""
    return format_coefficient(row[name]) + around


def _make_detection(result: StudyResult) -> list[tuple[str, ...]]:
    if result.agreement is None:
        return []
    out = []
    for row in _to_dicts(result.agreement.detection_total):
        shares = [
            f"{format_share(row[n])} "
            f"({format_share(row[f'{n}_low'])} to {format_share(row[f'{n}_high'])})"
            if isfinite(row[n])
            else MISSING
            for n in ("precision", "recall", "f1")
        ]
        counts = [
            str(int(row[n])) if isfinite(row[n]) else MISSING
            for n in ("found", "missed", "invented")
        ]
        name = f"{row['of']}, {_PARTS.get(str(row['part']), '')}"
        out.append((name.capitalize(), *counts, *shares))
    return out


def _make_clocks(result: StudyResult) -> list[tuple[str, ...]]:
    out = []
    for one in result.compared:
        clock = one.comparison.clock
        where = (one.result.run, clean_text(one.reference.source))
        if clock is None:
            out.append((*where, "none: paired by durations", *([MISSING] * 4)))
            continue
        drift = clock.source == "events"
        out.append(
            (
                *where,
                clock.source,
                f"{clock.offset_s:.4f} ±{clock.offset_u_s:.4f}".replace("-", "−"),
                f"{1e6 * clock.drift:.0f} ±{1e6 * clock.drift_u:.0f}".replace("-", "−"),
                str(clock.matched_events) if drift else MISSING,
                format_fixed(1000.0 * clock.scatter_s, 1, MISSING),
            )
        )
    return out


def _list_exclusions(table: pd.DataFrame) -> list[tuple[str, ...]]:
    """Reasons by run and what they are of, with how many rows each stands for."""
    if not len(table):
        return []
    filled = table.assign(figure=table["figure"].fillna(""), run=table["run"].fillna(""))
    grouped = filled.groupby(["run", "of", "reason"], sort=False)
    rows: list[tuple[str, ...]] = []
    for (run, of, reason), part in grouped:
        figures = sorted({str(f) for f in part["figure"] if f})
        named = "; ".join(quantity_of(f).name for f in figures)
        rows.append((str(run), str(of), clean_text(str(reason)), named, str(len(part))))
    return rows[:_MOST_ROWS]
