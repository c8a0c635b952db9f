"""Cues: at most three, ordered by how often and how far, with their evidence."""

import pandas as pd

from imuproc.assessment.cues import cues, on_target_share, words_for
from imuproc.assessment.targets import DEFAULT, read_targets
from imuproc.assessment.verdicts import ABOVE, verdicts
from tests.assessment.made_steps import steps

TARGETS = read_targets()[DEFAULT]
GOOD = [46.0, 54.0, 61.0, 66.0, 71.0, 75.0]


def found(table):
    return cues(verdicts(table, TARGETS))


def test_a_sound_run_has_no_cue():
    table = steps(GOOD, contact_time_s=0.15)
    assert found(table) == ()
    assert on_target_share(verdicts(table, TARGETS))["shin_angle_touchdown_deg"] == (6, 6)


def test_reaching_in_the_drive_phase_is_named_with_its_steps_side_and_size():
    shin = [x + (14.0 if k % 2 == 0 else 0.0) for k, x in enumerate(GOOD)]
    cue = found(steps(shin))[0]
    assert cue.words.title == "Shin too upright at touchdown"
    assert (cue.direction, cue.phases, cue.side) == (ABOVE, ("drive",), "left")
    assert cue.steps == (("R07-01", 1), ("R07-01", 3), ("R07-01", 5))
    assert (cue.off, cue.measured) == (3, 6)
    assert 3.0 <= cue.typical <= cue.largest <= 6.0


def test_one_step_is_no_cue():
    assert found(steps([70.0, *GOOD[1:]])) == ()


def test_values_within_their_uncertainty_of_the_band_are_no_cue():
    assert found(steps([x + 14.0 for x in GOOD], u=5.0)) == ()


def test_what_is_worse_and_more_often_comes_first_and_three_are_enough():
    table = pd.concat(
        [
            steps([x + 30.0 for x in GOOD], dorsiflexion_swing_mean_deg=-4.0),
            steps(
                [95.0] * 6, phase="upright", contact_time_s=0.2, dorsiflexion_swing_mean_deg=-4.0
            ),
        ]
    )
    table["step"] = range(1, 13)
    named = found(table)
    assert len(named) == 3
    assert named[0].weight >= named[1].weight >= named[2].weight
    assert "Toe drops in the air" not in named[0].words.title


def test_what_is_said_alike_of_several_phases_is_one_cue():
    table = pd.concat(
        [
            steps(GOOD, dorsiflexion_swing_mean_deg=-6.0, contact_time_s=0.15),
            steps([92.0] * 6, phase="upright", dorsiflexion_swing_mean_deg=-6.0),
        ]
    )
    table["step"] = range(1, 13)
    (cue,) = found(table)
    assert cue.phases == ("drive", "upright")
    assert (cue.off, cue.measured) == (12, 12)
    assert [step for _, step in cue.steps] == list(range(1, 13))


def test_cues_over_several_runs_say_in_which():
    table = pd.concat([steps([x + 14.0 for x in GOOD], run=run) for run in ("R07-01", "R07-02")])
    assert found(table)[0].runs == ("R07-01", "R07-02")


def test_a_figure_without_words_of_its_own_is_still_named_plainly():
    words = words_for("step_frequency_hz", ABOVE, "upright")
    assert words.title == "Step frequency above its band"
