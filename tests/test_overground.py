"""Overground clips set into whole runs: what was measured is in the recording and in the truth."""

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.agreement.judging import judge
from imuproc.synth.sensors.imperfect import GRADES
from scripts.lab import overground
from tests.shared_data import SHARED_DATA, needs_shared_data

FOLDER = SHARED_DATA / "overground_markers_force"


@needs_shared_data
@pytest.mark.parametrize("clip", overground.CLIPS)
def test_contacts_are_those_of_the_table_of_the_data(clip: str) -> None:
    """``steps.csv``: force plates at 20 N above zero."""
    table = pd.read_csv(FOLDER / "steps.csv")
    own = table[table["clip"] == clip]
    _, truth = overground.make_recording(clip, GRADES["ideal"], 500.0, seed=1)
    start_s = overground.START_STAMP_S
    np.testing.assert_allclose(truth.steps["touchdown_s"] - start_s, own["td_run_s"], atol=2e-5)
    np.testing.assert_allclose(truth.steps["toe_off_s"] - start_s, own["to_run_s"], atol=2e-5)
    # The table's shin is that before yaw and roll of the shank were smoothed.
    for figure, column, apart_deg in (
        ("shin_angle_touchdown_deg", "shin_td_run_deg", 3.0),
        ("shin_angle_toe_off_deg", "shin_to_run_deg", 3.0),
        ("foot_pitch_touchdown_deg", "pitch_td_run_deg", 0.1),
        ("foot_pitch_toe_off_deg", "pitch_to_run_deg", 0.1),
    ):
        np.testing.assert_allclose(truth.steps[figure], own[column], atol=apart_deg)


@needs_shared_data
def test_every_contact_is_found_and_stands_within_what_is_stated() -> None:
    """Clocks of these clips are known to 8 ms, contact time is not touched by them."""
    for clip in overground.CLIPS:
        recording, truth = overground.make_recording(clip, GRADES["mid"], 500.0, seed=77)
        judged = judge(imuproc.process(recording), truth, clip)
        assert (judged.found, judged.invented) == (judged.real_steps, 0)
        errors = judged.errors.set_index("figure")
        assert (errors.loc[["touchdown_s", "toe_off_s"], "error"].abs() < 0.009).all()
        contact = errors.loc["contact_time_s"]
        assert (contact["error"].abs() < 0.009).all()
        assert (contact["error"].abs() <= 2.0 * contact["u"]).all()
