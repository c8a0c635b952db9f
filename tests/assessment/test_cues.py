"""Cues: at most three, ordered by how often and how far, each fault once, with its evidence."""

import numpy as np
import pandas as pd
import pytest

from imuproc.assessment.cue_words import DIFFERS, words_for
from imuproc.assessment.cues import MOST_CUES, find_cues, on_target_share
from imuproc.assessment.targets import DEFAULT, read_targets
from imuproc.assessment.verdicts import ABOVE, BELOW, find_verdicts
from tests.assessment.made_steps import steps

TARGETS = read_targets()[DEFAULT]
GOOD = [46.0, 54.0, 61.0, 66.0, 71.0, 75.0]
HIGH = [54.0, 63.0, 71.0, 77.0, 82.0, 86.0]
"""High ends of the drive bands."""


def found(table, **differences):
    return find_cues(find_verdicts(table, TARGETS), TARGETS, differences)


def beyond(excess_deg):
    return [x + excess_deg for x in HIGH]


def test_a_sound_run_has_no_cue():
    table = steps(GOOD)
    assert found(table) == ()
    assert on_target_share(find_verdicts(table, TARGETS))["shin_angle_touchdown_deg"] == (6, 6)


def test_reaching_with_one_foot_is_named_with_its_steps_side_and_size():
    shin = [x + (6.0 if k % 2 == 0 else -8.0) for k, x in enumerate(HIGH)]
    (cue,) = found(steps(shin))
    assert cue.words.title == "Shin too upright in the drive"
    assert (cue.direction, cue.phases, cue.side) == (ABOVE, ("drive",), "left")
    assert cue.steps == (1, 3, 5)
    assert (cue.off, cue.measured) == (3, 6)
    assert cue.size == pytest.approx(6.0)
    assert cue.u == pytest.approx(1.0 / np.sqrt(3.0))


def test_one_step_is_no_cue():
    assert found(steps([70.0, *GOOD[1:]])) == ()


def test_two_degrees_are_not_worth_a_word_however_sure():
    assert found(steps(beyond(2.0), u=0.1)) == ()
    assert found(steps(beyond(3.5), u=0.1))


def test_what_every_step_does_is_found_though_no_single_step_is_sure():
    """Errors of single steps average out; what steps share does not."""
    (cue,) = found(steps(beyond(4.5), u=4.0, shin_angle_touchdown_deg_u_repeat=4.0))
    assert cue.steps == (1, 2, 3, 4, 5, 6)
    assert cue.u == pytest.approx(4.0 / np.sqrt(6.0))
    assert found(steps(beyond(4.5), u=4.0, shin_angle_touchdown_deg_u_repeat=0.1)) == ()


def test_a_step_that_may_belong_to_the_next_phase_is_held_against_both():
    shin = [*GOOD[:4], 90.0, 90.0]  # beyond the drive band, in that of the transition
    assert found(steps(shin))
    assert found(steps(shin, phase_alternative=[""] * 4 + ["transition"] * 2)) == ()


def test_a_fault_in_several_phases_is_told_once():
    table = pd.concat([steps(beyond(8.0)), steps([110.0] * 6, phase="upright")])
    table["step"] = range(1, 13)
    (cue,) = found(table)
    assert cue.phases == ("drive", "upright")
    assert (cue.off, cue.measured, len(cue.steps)) == (12, 12, 12)


def test_what_is_worse_and_more_often_comes_first_and_three_are_enough():
    table = pd.concat(
        [
            steps(beyond(12.0), dorsiflexion_swing_mean_deg=-4.0),
            steps([95.0] * 6, phase="upright", contact_time_s=0.2),
        ]
    )
    table["step"] = range(1, 13)
    named = found(table, left_minus_right_step_length_m=0.2, left_minus_right_step_length_m_u=0.02)
    assert len(named) == MOST_CUES
    assert named[0].weight >= named[1].weight >= named[2].weight
    assert "Toe drops in the air" not in named[0].words.title


@pytest.mark.parametrize("speed_mps", [4.5, np.nan])
def test_a_jog_and_a_run_without_speed_get_no_advice_on_contact_shin_or_toe(speed_mps):
    table = steps(
        [104.0] * 6, phase="upright", speed_mps=speed_mps, contact_time_s=0.21,
        dorsiflexion_swing_mean_deg=-12.0,
    )  # fmt: skip
    assert found(table) == ()
    assert found(table.assign(speed_mps=9.0))


def test_long_first_contacts_are_no_fault():
    """Faster sprinters have longer ones (Bezodis, Willwacher & Salo 2019, Sports Med 49:1345)."""
    assert found(steps(GOOD, speed_mps=[3.6, 4.8, 5.6, 6.3, 6.9, 7.4], contact_time_s=[
        0.23, 0.2, 0.185, 0.17, 0.16, 0.15])) == ()  # fmt: skip


def test_a_clear_difference_of_the_sides_takes_the_place_of_a_fault_of_one_foot():
    toe = [-8.0, 4.0] * 3
    table = steps(GOOD, dorsiflexion_swing_mean_deg=toe)
    (cue,) = found(table)
    assert (cue.direction, cue.side) == (BELOW, "left")
    apart = {
        "left_minus_right_dorsiflexion_swing_mean_deg": -12.0,
        "left_minus_right_dorsiflexion_swing_mean_deg_u": 1.5,
    }
    (cue,) = found(table, **apart)
    assert (cue.direction, cue.side, cue.size, cue.u) == (DIFFERS, "right", 12.0, 1.5)
    unsure = {**apart, "left_minus_right_dorsiflexion_swing_mean_deg_u": 7.0}
    assert found(table, **unsure)[0].direction == BELOW
    slight = {**apart, "left_minus_right_dorsiflexion_swing_mean_deg": -4.0}
    assert found(table, **slight)[0].direction == BELOW


def test_of_several_differences_the_most_striking_is_told():
    named = found(
        steps(GOOD),
        left_minus_right_shin_angle_touchdown_deg=6.0,
        left_minus_right_shin_angle_touchdown_deg_u=0.5,
        left_minus_right_contact_time_s=0.024,
        left_minus_right_contact_time_s_u=0.002,
    )
    assert [cue.figure for cue in named] == ["contact_time_s"]


def test_a_figure_without_words_of_its_own_is_still_named_plainly():
    words = words_for("step_frequency_hz", ABOVE, "upright")
    assert words.title == "Step frequency above target"
