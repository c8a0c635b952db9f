"""A whole sprint whose logs lack samples in fast motion."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.recording import Recording, SensorLog
from tests.simulated import change_logs, compute_errors, list_flag_names

FIGURES = ("contact_time_s", "shin_angle_touchdown_deg", "foot_pitch_touchdown_deg")


def without(recording: Recording, start_s: float, end_s: float) -> Recording:
    def cut(log: SensorLog) -> SensorLog:
        return log.take((log.time_s < start_s) | (log.time_s >= end_s))

    return change_logs(recording, cut)


@pytest.mark.parametrize("after_s", [1.0, -1.0], ids=["slowing down", "walking to the start"])
def test_half_a_second_lost_outside_the_sprint_costs_no_step(
    usual: tuple[Recording, pd.DataFrame], after_s: float
) -> None:
    recording, steps = usual
    first_s, last_s = steps["touchdown_s"].min(), steps["toe_off_s"].max()
    start_s = last_s + after_s if after_s > 0.0 else first_s + after_s
    result = imuproc.process(without(recording, start_s, start_s + 0.5))
    sound = imuproc.process(recording)
    assert len(result.steps) == len(sound.steps)
    for name in FIGURES:
        assert result.steps[name].isna().sum() <= sound.steps[name].isna().sum() + 2, (
            name
        )  # one a leg
        spread = result.steps[f"{name}_u"]
        moved = (result.steps[name] - sound.steps[name]).abs()
        assert (moved.dropna() < 2.0 * spread[moved.notna()]).all(), name
        assert np.nanmax(np.abs(compute_errors(result.steps, steps, name))) < 4.0, name


def test_a_foot_that_is_torn_late_in_the_sprint_keeps_its_steps_before(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    right = steps[steps["side"] == "right"]
    last_s = float(right["toe_off_s"].iloc[-2])  # in its next swing
    foot = recording.logs["right_foot"]
    torn = foot.take((foot.time_s < last_s + 0.05) | (foot.time_s >= last_s + 0.30))
    logs = {**recording.logs, "right_foot": torn}
    result = imuproc.process(replace(recording, logs=logs))
    assert "missing_foot" not in list_flag_names(result)
    assert not {"sensor_slipped", "standing_differs"} & list_flag_names(result)
    gaps = [f.values for f in result.flags if f.name == "gap" and f.site == "right_foot"]
    assert any(values.get("used_to_s", 0.0) > last_s for values in gaps)
    own = result.steps[(result.steps["side"] == "right") & (result.steps["touchdown_s"] < last_s)]
    assert own["foot_pitch_touchdown_deg"].notna().all()
