"""Figures as SVG: steps can be marked, colours follow the page, equal data gives equal bytes."""

import re
from collections.abc import Callable
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from imuproc.report.pages.charts import draw_by_step, draw_swings, draw_time_strip
from imuproc.report.pages.drawing import find_ticks
from imuproc.report.pages.view import RunView
from tests.report.pages.made_report import DOUBTFUL, NOTED, SOUND

SHIN = "shin_angle_touchdown_deg"
FIGURES: dict[str, Callable[[RunView], str]] = {
    "shin": lambda view: draw_by_step(view, SHIN),
    "contact": lambda view: draw_by_step(view, "contact_time_s"),
    "swing": lambda view: draw_swings(view, "dorsiflexion"),
    "strip": draw_time_strip,
}


def marked(svg: str, kind: str) -> list[int]:
    return [int(step) for step in re.findall(rf'class="of-step {kind}" data-step="(\d+)"', svg)]


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_is_one_clean_element(views: dict[str, RunView], name: str) -> None:
    svg = FIGURES[name](views[SOUND])
    root = ElementTree.fromstring(svg)
    assert root.tag.endswith("svg")
    assert "metadata" not in svg
    assert len(svg) < 120_000
    ids = re.findall(r' id="([^"]*)"', svg)
    assert len(ids) == len(set(ids))
    assert re.findall(r"#[0-9a-f]{3}|fill=|stroke=|style=", svg) == []  # the style sheet's work


@pytest.mark.parametrize("name", FIGURES)
def test_the_same_data_gives_the_same_bytes(views: dict[str, RunView], name: str) -> None:
    assert FIGURES[name](views[SOUND]) == FIGURES[name](views[SOUND])


def test_ids_of_different_figures_on_a_page_are_different(views: dict[str, RunView]) -> None:
    ids = [re.findall(r' id="([^"]*)"', draw(views[SOUND])) for draw in FIGURES.values()]
    together = [name for of_figure in ids for name in of_figure]
    assert len(together) == len(set(together))


def test_every_step_is_there_to_be_marked(views: dict[str, RunView]) -> None:
    steps = views[SOUND].steps["step"].tolist()
    shin = FIGURES["shin"](views[SOUND])
    assert marked(shin, "column") == steps
    assert marked(shin, "point") == steps
    assert marked(FIGURES["strip"](views[SOUND]), "bar") == steps
    # The first swing of each foot has no toe-off before it.
    assert sorted(marked(FIGURES["swing"](views[SOUND]), "curve")) == steps[2:]


def test_missing_figures_leave_gaps_and_withheld_swings_are_not_drawn(
    views: dict[str, RunView],
) -> None:
    view = views[DOUBTFUL]
    right = view.steps.loc[view.steps["side"] == "right", "step"].tolist()
    assert marked(FIGURES["shin"](view), "point") == right
    assert sorted(marked(FIGURES["swing"](view), "curve")) == right[1:]


def test_arrow_heads_stand_at_steps_that_are_surely_off_target(views: dict[str, RunView]) -> None:
    view = views[SOUND]
    assert "▲" not in FIGURES["shin"](view)
    verdicts = view.verdicts.copy()
    verdicts.loc[verdicts["step"] == 2, "verdict"] = "above"
    verdicts.loc[verdicts["step"] == 3, "verdict"] = "below"
    svg = draw_by_step(replace(view, verdicts=verdicts), SHIN)
    assert (svg.count("▲"), svg.count("▼")) == (1, 1)


def test_a_run_of_one_step_or_without_a_contact_end_can_be_drawn(
    views: dict[str, RunView],
) -> None:
    view = views[SOUND]
    one = replace(view, steps=view.steps.iloc[:1], verdicts=view.verdicts.iloc[:3])
    assert marked(draw_by_step(one, SHIN), "point") == [1]
    assert marked(draw_time_strip(one), "bar") == [1]
    open_end = view.steps.copy()
    open_end.loc[3, "toe_off_s"] = np.nan
    assert 4 not in marked(draw_time_strip(replace(view, steps=open_end)), "bar")


def test_swings_run_from_toe_off_to_touchdown(views: dict[str, RunView]) -> None:
    view = views[NOTED]
    for curve in view.curves["dorsiflexion"]:
        row = view.steps[view.steps["step"] == curve.step].iloc[0]
        assert curve.angle_deg[-1] == pytest.approx(row["dorsiflexion_touchdown_deg"], abs=0.5)


@pytest.mark.parametrize(
    ("low", "high", "most", "whole", "ticks"),
    [
        (0.0, 1.0, 5, False, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (38.0, 104.0, 6, False, [40.0, 60.0, 80.0, 100.0]),
        (1.0, 3.0, 8, True, [1.0, 2.0, 3.0]),
        (-0.3, 0.3, 3, False, [-0.2, 0.0, 0.2]),
    ],
)
def test_ticks_are_round_numbers(low, high, most, whole, ticks) -> None:
    assert find_ticks(low, high, most, whole) == ticks
