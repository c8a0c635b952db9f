"""The body line on a run page: there with sensors for it, absent without, and honest about gaps."""

from dataclasses import replace

import numpy as np
import pytest

import imuproc
from imuproc.assessment.targets import read_targets
from imuproc.report.pages.body import draw_body_lines
from imuproc.report.pages.run_page import run_page
from imuproc.report.pages.view import RunView, read_view
from tests.guards.sources import REPO
from tests.report.pages.made_report import SOUND


def with_body(view: RunView, **figures: float) -> RunView:
    """The run as if sensors above the knee had given these figures in every step."""
    steps = view.steps.copy()
    for name, value in figures.items():
        steps[name], steps[f"{name}_u"] = value, 1.0
    return replace(view, steps=steps)


def test_without_sensors_above_the_knee_the_page_does_not_speak_of_hips(
    views: dict[str, RunView],
) -> None:
    assert "Hips, trunk and thighs" not in run_page(views[SOUND])
    assert draw_body_lines(views[SOUND]) == ()


def test_a_pelvis_alone_says_what_it_does_not_tell(views: dict[str, RunView]) -> None:
    view = with_body(views[SOUND], pelvis_tilt_touchdown_deg=12.0)
    page = run_page(replace(view, sites=(*view.sites, "pelvis")))
    assert "Pelvis tilt by step" in page
    assert "takes sensors on the thighs" in page
    assert 'class="bodies"' not in page


def test_the_figure_stands_as_the_angles_say(views: dict[str, RunView]) -> None:
    """Upright: hips over knee over ankle; thigh level: the knee a thigh's length ahead."""
    upright = {f"shin_angle_{e}_deg": 90.0 for e in ("touchdown", "toe_off")}
    flat = {f"foot_pitch_{e}_deg": 0.0 for e in ("touchdown", "toe_off")}
    view = with_body(
        views[SOUND],
        **upright,
        **flat,
        thigh_angle_touchdown_deg=0.0,
        thigh_angle_toe_off_deg=90.0,
        trunk_lean_touchdown_deg=0.0,
    )
    first = draw_body_lines(view)[0]
    standing, level = (
        np.array([[float(x) for x in point.split()] for point in line.split("M")[2].split("L")])
        for line in first.lines
    )
    np.testing.assert_allclose(standing[:, 0], standing[0, 0], atol=0.11)
    assert (np.diff(standing[:, 1]) < 0.0).all()  # ankle, knee, hip, shoulder
    knee, hip = level[1], level[2]
    np.testing.assert_allclose(knee[1], hip[1], atol=0.11)
    assert knee[0] > hip[0] + 20.0
    assert first.said == "thigh 0° at touchdown, thigh 90° at toe-off"


@pytest.mark.parametrize("schema", [1, 2])
def test_results_of_former_versions_make_pages_without_hips(schema: int) -> None:
    with imuproc.open_archive(REPO / "tests" / "archive" / "kept" / f"schema-{schema}.h5") as kept:
        done = [kept.run(run) for run in kept.runs if kept.run(run).status == "done"]
        pages = [run_page(read_view(run, kept.session, read_targets())) for run in done]
    assert pages
    assert not any("Hips, trunk and thighs" in page for page in pages)
