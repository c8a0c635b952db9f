"""The page of two runs side by side: phase by phase and step by step."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from markupsafe import Markup

from imuproc.files.text import clean_text
from imuproc.report.pages import story
from imuproc.report.pages.charts import draw_two_by_step
from imuproc.report.pages.labels import LABELS, Label
from imuproc.report.pages.rendering import render_page
from imuproc.report.pages.rows import step_rows
from imuproc.report.pages.run_page import CAUTIONS
from imuproc.report.pages.squad_page import page_name
from imuproc.report.pages.view import RunView
from imuproc.results.two_runs import PhaseDifference, compare_phases

_CHARTS: Final = ("shin_angle_touchdown_deg", "dorsiflexion_swing_mean_deg", "contact_time_s")
_BY_STEP: Final = (*_CHARTS, "speed_mps")


@dataclass(frozen=True)
class DifferenceRow:
    """A figure of two runs in a phase, as it is shown.

    Parameters
    ----------
    phase, name, first, second, difference : str
    clear : bool
    """

    phase: str
    name: str
    first: str
    second: str
    difference: str
    clear: bool


def compare_name(first: str, second: str) -> str:
    """File name of the page of two runs."""
    return f"{page_name(first).removesuffix('.html')}__{page_name(second)}"


def difference_rows(first: RunView, second: RunView) -> list[DifferenceRow]:
    """Every shown figure in every phase that both runs have, slowing left out."""
    shown = compare_phases(first.summary, second.summary, (first.steps, second.steps))
    return [
        _show_difference(LABELS[one.figure], one)
        for one in shown
        if one.figure in LABELS and one.phase != "slowing"
    ]


def _show_difference(label: Label, one: PhaseDifference) -> DifferenceRow:
    difference = label.format_signed(one.difference)
    if np.isfinite(one.u):
        difference += f" ± {label.format_uncertainty(one.u)}"
    name = f"{label.name} ({label.unit})"
    first, second = label.format_number(one.first), label.format_number(one.second)
    return DifferenceRow(one.phase, name, first, second, difference, one.is_clear)


def compare_page(first: RunView, second: RunView) -> str:
    """HTML of two runs side by side, self-contained."""
    views = (first, second)
    rows = difference_rows(first, second)
    cells = [{row.number: row for row in step_rows(view)} for view in views]
    content: dict[str, Any] = {
        "runs": [
            {
                "run": clean_text(view.summary.run),
                "athlete": clean_text(view.summary.athlete),
                "brief": story.brief_facts(view),
                "page": page_name(view.summary.run),
                "point": view.cues[0].words.title if view.cues else "Nothing stood out",
                "size": story.size_of(view.cues[0]) if view.cues else "",
                "doubt": view.in_trouble(),
            }
            for view in views
        ],
        "phases": [
            (phase, [row for row in rows if row.phase == phase])
            for phase in dict.fromkeys(row.phase for row in rows)
        ],
        "clear": [row for row in rows if row.clear],
        "charts": [
            (LABELS[name], Markup(draw_two_by_step(first, second, name)))
            for name in _CHARTS
            if any(np.isfinite(view.steps[name].to_numpy(dtype=float)).any() for view in views)
        ],
        "labels": [LABELS[name] for name in _BY_STEP],
        "steps": [
            (number, [cells[0].get(number), cells[1].get(number)])
            for number in sorted({*cells[0], *cells[1]})
        ],
        "places": [list(LABELS).index(name) for name in _BY_STEP],
        "cautions": CAUTIONS,
    }
    return render_page("compare.html.j2", content)
