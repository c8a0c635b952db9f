"""Verdicts: on target, off target or too close to call, from value, band and uncertainty."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from imuproc.assessment.targets import DEFAULT, Band, TargetSet, read_targets
from imuproc.assessment.verdicts import (
    ABOVE,
    BELOW,
    NOT_MEASURED,
    ON_TARGET,
    TOO_CLOSE,
    find_verdicts,
    judge_values,
)
from tests.assessment.made_steps import steps

SHIN = TargetSet("shin", (Band("shin_angle_touchdown_deg", "drive", ((40.0, 50.0),), "made up"),))


@pytest.mark.parametrize(
    ("value", "u", "verdict"),
    [
        (45.0, 1.0, ON_TARGET),
        (49.5, 1.0, TOO_CLOSE),
        (50.5, 1.0, TOO_CLOSE),
        # 1.645 standard uncertainties past an end is 95 % sure (normal distribution).
        (51.64, 1.0, TOO_CLOSE),
        (51.65, 1.0, ABOVE),
        (38.35, 1.0, BELOW),
        (60.0, 8.0, TOO_CLOSE),
        (45.0, 8.0, TOO_CLOSE),
        (np.nan, 1.0, NOT_MEASURED),
        (45.0, np.nan, NOT_MEASURED),
    ],
)
def test_a_verdict_needs_95_percent(value, u, verdict):
    found = judge_values(*(np.array([x]) for x in (value, u, 40.0, 50.0)))
    assert found[0] == verdict


@given(st.floats(0.0, 90.0), st.floats(0.1, 20.0))
def test_the_conformance_probability_is_that_of_scipy(value, u):
    found = judge_values(*(np.array([x]) for x in (value, u, 40.0, 50.0)))[0]
    inside = norm.cdf(50.0, value, u) - norm.cdf(40.0, value, u)  # JCGM 106:2012, clause 7
    assert (found == ON_TARGET) == (inside >= 0.95) or abs(inside - 0.95) < 1e-9


def test_a_row_per_step_and_band_and_how_far_outside():
    table = find_verdicts(steps([45.0, 56.0, 34.0]), SHIN)
    assert table["verdict"].tolist() == [ON_TARGET, ABOVE, BELOW]
    np.testing.assert_allclose(table["excess"], [0.0, 6.0, -6.0])


def test_a_step_near_the_end_of_a_phase_is_judged_where_both_phases_agree():
    targets = TargetSet(
        "two",
        (
            Band("shin_angle_touchdown_deg", "drive", ((40.0, 50.0),), "made up"),
            Band("shin_angle_touchdown_deg", "transition", ((45.0, 60.0),), "made up"),
        ),
    )
    table = steps([55.0, 70.0, 47.5, 42.0, 30.0], u=0.5, phase_alternative="transition")
    judged_twice = find_verdicts(table, targets)
    assert judged_twice["verdict"].tolist() == [TOO_CLOSE, ABOVE, ON_TARGET, TOO_CLOSE, BELOW]
    np.testing.assert_allclose(judged_twice["excess"], [0.0, 10.0, 0.0, 0.0, -10.0])
    assert len(find_verdicts(table.assign(phase_alternative="slowing"), targets)) == 0
    old = find_verdicts(table.drop(columns="phase_alternative"), targets)
    assert old["verdict"].tolist() == [ABOVE, ABOVE, ON_TARGET, ON_TARGET, BELOW]


def test_a_band_by_speed_runs_in_straight_lines_and_holds_above():
    band = Band("contact_time_s", "drive", ((-np.inf, 0.2), (-np.inf, 0.1)), "made up", (6.0, 10.0))
    speed = [5.9, 6.0, 8.0, 12.0, np.nan]
    table = find_verdicts(steps([45.0] * 5, speed_mps=speed), TargetSet("contact", (band,)))
    assert table["step"].tolist() == [2, 3, 4]
    np.testing.assert_allclose(table["high"], [0.2, 0.15, 0.1])
    assert np.isneginf(table["low"]).all()


def test_slowing_is_not_judged_and_no_steps_give_no_rows():
    assert len(find_verdicts(steps([70.0, 70.0], phase="slowing"), read_targets()[DEFAULT])) == 0


def test_the_drive_bands_of_the_default_set_rise_with_the_steps():
    table = find_verdicts(steps([47.0, 47.0, 47.0, 47.0, 47.0, 47.0]), read_targets()[DEFAULT])
    shin = table[table["figure"] == "shin_angle_touchdown_deg"].sort_values("step")
    assert shin["verdict"].tolist()[0] == ON_TARGET
    assert shin["verdict"].tolist()[-1] == BELOW


def test_a_table_without_steps_has_no_verdicts():
    table = find_verdicts(pd.DataFrame({name: [] for name in steps([50.0]).columns}), SHIN)
    assert len(table) == 0
    assert {"run", "step", "figure", "verdict"} <= set(table.columns)
