"""The drawing of the leg: angles and proportions are those of the figures."""

import math
from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.recording import Athlete
from imuproc.report.pages.legs import HEIGHT, WIDTH, draw_legs, foot_length
from imuproc.report.pages.view import RunView
from tests.report.pages.made_report import DOUBTFUL, NOTED, SOUND


def test_the_drawn_angles_are_the_figures(views: dict[str, RunView]) -> None:
    view = views[SOUND]
    for leg, row in zip(draw_legs(view), view.steps.itertuples(), strict=True):
        assert leg.knee is not None
        up, ahead = leg.ankle[1] - leg.knee[1], leg.knee[0] - leg.ankle[0]
        assert math.degrees(math.atan2(up, ahead)) == pytest.approx(
            row.shin_angle_touchdown_deg, abs=0.3
        )
        heel, toe = leg.foot[:2]
        pitch = math.degrees(math.atan2(heel[1] - toe[1], toe[0] - heel[0]))
        assert pitch == pytest.approx(row.foot_pitch_touchdown_deg, abs=0.5)


def test_the_foot_stands_on_the_ground_and_all_is_within_the_cell(
    views: dict[str, RunView],
) -> None:
    for leg in draw_legs(views[SOUND]):
        lowest = max(y for _, y in leg.foot)
        assert lowest == pytest.approx(59.0, abs=0.2)
        for x, y in (*leg.foot, leg.ankle, leg.knee or leg.ankle):
            assert 0.0 <= x <= WIDTH
            assert 0.0 <= y <= HEIGHT


def test_a_shin_that_is_not_known_is_not_drawn(views: dict[str, RunView]) -> None:
    drawn = draw_legs(views[DOUBTFUL])
    assert [leg.knee is None for leg in drawn] == [leg.side == "left" for leg in drawn]
    assert [leg.foot_known for leg in drawn] == [leg.side == "right" for leg in drawn]


def test_shank_and_foot_are_in_proportion(views: dict[str, RunView]) -> None:
    assert foot_length(views[NOTED].athlete) == pytest.approx(38.0 * 0.27 / 0.43)
    # 0.152 and 0.246 of stature: Drillis & Contini 1966 (from memory)
    usual = 38.0 * 0.152 / 0.246
    assert foot_length(Athlete("R01")) == pytest.approx(usual)
    assert foot_length(Athlete("R01", stature_m=1.8)) == pytest.approx(usual)
    assert foot_length(Athlete("R01", shank_length_m=0.4)) == pytest.approx(usual)


def test_the_wedge_spans_the_target(views: dict[str, RunView]) -> None:
    first = draw_legs(views[SOUND])[0]
    assert first.band_deg == (38.0, 54.0)  # of the default set, step 1
    start, low, rest = first.wedge[1:].split("L")[0], *first.wedge[1:].split("L")[1].split("A", 1)
    x, y = np.array([low.split(), start.split()], dtype=float).T
    assert math.degrees(math.atan2(y[1] - y[0], x[0] - x[1])) == pytest.approx(38.0, abs=0.3)
    assert rest.endswith("Z")


def test_without_a_target_there_is_no_wedge(views: dict[str, RunView]) -> None:
    view = views[SOUND]
    bare = replace(view, verdicts=view.verdicts[view.verdicts["figure"] == "contact_time_s"])
    assert {leg.wedge for leg in draw_legs(bare)} == {""}
