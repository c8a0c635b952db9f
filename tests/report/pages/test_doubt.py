"""Trouble comes first, says what can still be used, and no verdict rests on doubted figures."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.assessment.cues import find_cues
from imuproc.assessment.verdicts import IN_DOUBT, NOT_MEASURED, put_in_doubt
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import find_doubted_sides, is_serious
from imuproc.core.flags import RaisedFlag
from imuproc.report.pages.doubt import list_trouble, list_trusted
from imuproc.report.pages.labels import LABELS
from imuproc.report.pages.view import RunView
from tests.report.pages.made_report import DOUBTFUL, NOTED, SOUND

SHIN = "shin_angle_touchdown_deg"


def flagged(view: RunView, *flags: RaisedFlag) -> RunView:
    return replace(view, summary=replace(view.summary, flags=flags))


def test_a_sound_run_is_in_no_trouble(views: dict[str, RunView]) -> None:
    assert not views[SOUND].in_trouble()
    assert not views[NOTED].in_trouble()


def test_a_run_in_doubt_says_what_is_wrong_and_what_is_there(views: dict[str, RunView]) -> None:
    view = views[DOUBTFUL]
    assert view.in_trouble()
    (sentence,) = list_trouble(view)
    assert "left shank" in sentence
    assert FLAGS["mounting_sign_unsure"].advice in sentence
    words = {trust.name: trust.words for trust in list_trusted(view)}
    assert words["Shin"] == "6 of 11 steps, but do not trust the left"
    assert words["Contact"] == "all steps"


def test_much_missing_is_trouble_even_without_a_flag(views: dict[str, RunView]) -> None:
    view = flagged(views[DOUBTFUL])
    assert view.in_trouble()
    assert list_trouble(view) == [
        "Many figures are missing in this run; see below which ones are there."
    ]


def test_another_run_of_the_log_that_was_refused_is_no_trouble_of_this_one(
    views: dict[str, RunView],
) -> None:
    assert is_serious("run_refused")
    refused = RaisedFlag("run_refused", {"reason": "too short"})
    assert not flagged(views[SOUND], refused).in_trouble()


def test_a_serious_flag_of_one_step_is_no_trouble_of_the_run(views: dict[str, RunView]) -> None:
    assert not flagged(views[SOUND], RaisedFlag("implausible", step=3)).in_trouble()


@pytest.mark.parametrize(
    ("flag", "figure", "sides"),
    [
        (RaisedFlag("mounting_sign_unsure", site="left_shank"), SHIN, {"left"}),
        (RaisedFlag("mounting_sign_unsure", site="left_foot"), SHIN, set()),
        (RaisedFlag("mounting_sign_unsure", site="left_foot"), "contact_time_s", set()),
        (RaisedFlag("stuck_channel", site="right_foot"), "contact_time_s", {"right"}),
        (RaisedFlag("stuck_channel", site="pelvis"), "contact_time_s", set()),
        (RaisedFlag("segments_swapped", site="left_foot"), SHIN, {"left"}),
        (RaisedFlag("sides_swapped"), SHIN, {"left", "right"}),
        (RaisedFlag("no_standing"), "contact_time_s", set()),
        (RaisedFlag("gap", site="left_foot"), "foot_pitch_touchdown_deg", set()),
    ],
)
def test_each_flag_casts_doubt_on_what_it_concerns(
    flag: RaisedFlag, figure: str, sides: set[str]
) -> None:
    assert find_doubted_sides([flag]).get(figure, frozenset()) == sides


def test_no_cue_and_no_verdict_rests_on_a_figure_in_doubt(views: dict[str, RunView]) -> None:
    view = views[SOUND]
    judged = view.verdicts.assign(verdict="above", value=view.verdicts["high"] + 9.0)
    judged.loc[0, "verdict"] = NOT_MEASURED
    assert find_cues(judged, view.targets, {})
    doubted = put_in_doubt(judged, find_doubted_sides([RaisedFlag("sides_swapped")]))
    assert set(doubted["verdict"]) == {IN_DOUBT, NOT_MEASURED}
    assert find_cues(doubted, view.targets, {}) == ()


def test_every_shown_figure_is_counted(views: dict[str, RunView]) -> None:
    assert len(list_trusted(views[SOUND])) == len(LABELS)
    have = np.array([trust.have for trust in list_trusted(views[SOUND])])
    assert (have >= 10).sum() >= 7
