"""Tables of a run page: every step with its verdict, sides compared, uncertainty in parts."""

import numpy as np
import pytest

from imuproc.report.pages.labels import LABELS
from imuproc.report.pages.rows import part_meanings, part_rows, side_rows, step_rows
from imuproc.report.pages.view import RunView
from tests.report.pages.made_report import DOUBTFUL, SOUND


def test_a_row_for_every_step_with_value_uncertainty_and_verdict(
    views: dict[str, RunView],
) -> None:
    view = views[SOUND]
    rows = step_rows(view)
    assert [row.number for row in rows] == view.steps["step"].tolist()
    first, step = rows[0], view.steps.iloc[0]
    assert first.shin.value == f"{step['shin_angle_touchdown_deg']:.0f}"
    assert (first.shin.sign, first.shin.words, first.shin.kind) == ("✓", "on target", "on")
    assert first.said.startswith(f"Step 1, {step['side']}, drive: shin angle")
    assert "(on target)" in first.said
    assert first.brief.startswith(f"1\u00a0{step['side']}: shin\u00a0")
    slowing = rows[-1]
    assert slowing.phase == "slowing"
    assert slowing.shin.words == ""


def test_what_is_missing_is_a_dash_without_uncertainty(views: dict[str, RunView]) -> None:
    missing = next(row for row in step_rows(views[DOUBTFUL]) if row.side == "left")
    assert (missing.shin.value, missing.shin.u) == ("-", "")
    assert "shin angle not measured" in missing.said


def test_left_and_right_are_called_different_only_when_that_is_clear(
    views: dict[str, RunView],
) -> None:
    rows = side_rows(views[SOUND])
    assert {row.words for row in rows} <= {
        "no clear difference",
        "more on the left",
        "more on the right",
    }
    for row in rows:
        value, u = (float(part) for part in row.difference.split(" ± "))
        clear = row.words != "no clear difference"
        assert clear == (abs(value) > 2.0 * u) or abs(abs(value) - 2.0 * u) < 0.2 * u
    assert [row.name for row in rows if row.index] == [
        LABELS[name].short
        for name in ("contact_time_s", "flight_time_s", "step_frequency_hz", "step_length_m")
    ]


def test_the_parts_of_an_uncertainty_are_listed_largest_first(views: dict[str, RunView]) -> None:
    rows = part_rows(views[SOUND])
    shin = next(row for row in rows if row.name == "Shin")
    sizes = [float(value.rstrip("°")) for _, value in shin.parts]
    assert sizes == sorted(sizes, reverse=True)
    total = float(shin.total.rstrip("°"))
    assert np.sqrt(np.square(sizes).sum()) == pytest.approx(total, rel=0.35)
    assert all(meaning for _, meaning in part_meanings(rows))
