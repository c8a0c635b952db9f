"""What a page says: cues with their evidence, flags explained, notes made harmless."""

from dataclasses import replace

import pandas as pd
import pytest

from imuproc.assessment.cues import find_cues
from imuproc.assessment.targets import DEFAULT, read_targets
from imuproc.assessment.verdicts import find_verdicts
from imuproc.core.flags import RaisedFlag
from imuproc.report.pages import story
from imuproc.report.pages.view import RunView
from tests.assessment.made_steps import steps
from tests.report.pages.made_report import HOSTILE, LONG, SOUND

TARGETS = read_targets()[DEFAULT]
REACHING = [60.0, 69.0, 77.0, 83.0, 88.0, 92.0]


def first_cue(table: pd.DataFrame, **differences: float) -> story.Matter:
    cue = find_cues(find_verdicts(table, TARGETS), TARGETS, differences)[0]
    return story.tell_cue(
        cue, table.assign(ankle_ahead_of_knee_m=[-0.1, -0.1, 0.0, 0.0, 0.01, 0.03])
    )


def test_a_cue_tells_how_far_how_sure_and_how_far_the_ankle_was_ahead() -> None:
    found = first_cue(steps(REACHING))
    assert found.title == "Shin too upright in the drive"
    assert (found.size, found.seen) == ("6 ± 1° over target", "6 of 6 steps (drive)")
    assert found.evidence == "Steps 1-6. The ankle was up to 3 cm ahead of the knee: it may brake."
    assert "may brake" in found.meaning
    assert found.try_this.startswith("strike down and back")


def test_steps_that_are_surely_off_are_told_apart_from_those_that_may_be() -> None:
    shin = [*REACHING[:3], *(x - 3.5 for x in REACHING[3:])]
    assert first_cue(steps(shin, u=1.8)).seen == "3 of 6 steps, perhaps 3 more (drive)"
    far = steps(REACHING, u=4.0, shin_angle_touchdown_deg_u_repeat=4.0)
    assert first_cue(far).seen == "in the mean of 6 steps (drive)"


def test_a_cue_of_one_foot_says_which() -> None:
    shin = [x if k % 2 == 0 else x - 14.0 for k, x in enumerate(REACHING)]
    found = first_cue(steps(shin))
    assert found.seen == "3 of 6 steps (drive), mostly the left foot"
    assert found.evidence.startswith("Steps 1, 3, 5.")


def test_a_difference_of_the_sides_says_which_is_larger() -> None:
    apart = {"left_minus_right_contact_time_s": -0.02, "left_minus_right_contact_time_s_u": 0.004}
    found = first_cue(steps([50.0] * 6, phase="upright", speed_mps=5.0), **apart)
    assert found.title == "Left and right differ: contact time"
    assert (found.size, found.seen) == ("contact time 20 ± 4 ms larger right than left", "")


def test_where_figures_may_be_wrong_there_is_no_advice(views: dict[str, RunView]) -> None:
    view = views[SOUND]
    flags = (*view.summary.flags, RaisedFlag("sides_swapped"))
    flagged = replace(view, cues=(), summary=replace(view.summary, flags=flags))
    assert story.nothing_off(flagged).startswith("No advice:")


def test_a_sound_run_says_that_nothing_was_off(views: dict[str, RunView]) -> None:
    view = views[SOUND]
    counts = view.verdicts["verdict"].value_counts()
    assert story.nothing_off(view) == (
        "Nothing was surely and repeatedly off target. Of 28 figures held against their targets "
        f"{counts['on target']} are surely on target and {counts['too close to call']} are too "
        "close to call."
    )
    nothing = replace(view, verdicts=view.verdicts.assign(verdict="not measured"))
    assert story.nothing_off(nothing).startswith("Nothing could be held against the targets")


def test_the_facts_say_when_how_and_how_far(views: dict[str, RunView]) -> None:
    facts = dict(story.list_facts(views[SOUND]))
    assert facts["Date"] == "2031-04-12"
    assert facts["Start"] == "from blocks"
    assert facts["Distance"] == "20 m"
    assert facts["Steps"] == "11, then 6 slowing down"
    assert dict(story.list_facts(replace(views[SOUND], session={})))["Date"] == "not known"


def test_flags_are_explained_serious_ones_first(views: dict[str, RunView]) -> None:
    flags = (
        RaisedFlag("accel_clipped", {"samples": 3, "stretches": 1, "first_s": 4.5}, "left_foot"),
        RaisedFlag("drift_large", {"figure": "foot_pitch_toe_off_deg", "value": 9.0}, step=3),
        RaisedFlag("drift_large", {"figure": "foot_pitch_toe_off_deg", "value": 8.0}, step=4),
        RaisedFlag("of_the_future"),
    )
    view = views[SOUND]
    texts = story.flag_texts(replace(view, summary=replace(view.summary, flags=flags)))
    assert [text.name for text in texts] == ["drift large", "accel clipped", "of the future"]
    assert (texts[0].where, texts[0].detail) == ("steps 3-4", "foot pitch toe off")
    assert (texts[1].where, texts[1].detail) == (
        "left foot",
        "left foot: 3 samples in 1 stretch, first at 4.5 s",
    )
    assert texts[2].sentence == "This version does not know this flag."


@pytest.mark.parametrize("text", [HOSTILE, LONG])
def test_a_note_is_one_line_without_controls_and_not_too_long(text: str) -> None:
    shown = story.note_text(text)
    assert shown.startswith("<script>alert(1)</script>")  # escaping is the template's work
    assert "\u202e" not in shown
    assert len(shown) < story.LONGEST_NOTE + 80
    assert story.note_text(None) == ""


def test_verdicts_are_counted_in_the_caption(views: dict[str, RunView]) -> None:
    words = story.on_target_words(views[SOUND], "shin_angle_touchdown_deg")
    assert words.startswith("Of 10 judged steps: 4 on target, 6 too close")
    assert story.on_target_words(views[SOUND], "speed_mps") == "No target is set for it."
