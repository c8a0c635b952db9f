"""A whole sprint in which one sensor turns on its limb."""

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.recording import Recording
from imuproc.synth.sensors.faults import FAULTS
from tests.pipeline.whole_runs import ANGLES, run_flags
from tests.simulated import compute_errors


@pytest.mark.parametrize("seed", [2, 4])
def test_only_the_stride_in_which_a_sensor_slipped_is_lost(
    usual: tuple[Recording, pd.DataFrame], seed: int
) -> None:
    """Left as it is, the slip would be in every angle of the sensor from then on."""
    recording, steps = usual
    slipped = FAULTS["slip"].spoil(recording, 20.0, np.random.default_rng(seed))
    result, sound = imuproc.process(slipped), imuproc.process(recording)
    assert run_flags(result) - run_flags(sound) == {"sensor_slipped"}
    assert len(result.steps) == len(sound.steps)
    for name in ANGLES - {"ankle_ahead_of_knee_m"}:
        assert result.steps[name].isna().sum() <= sound.steps[name].isna().sum() + 3, name
        least = np.nanmax(np.abs(compute_errors(sound.steps, steps, name)))
        assert np.nanmax(np.abs(compute_errors(result.steps, steps, name))) < least + 3.0, name
    (flag,) = [f for f in result.flags if f.name == "sensor_slipped" and f.step is None]
    assert flag.values["by_deg"] == pytest.approx(20.0, abs=2.0)
    assert 1 <= sum(f.name == "sensor_slipped" and f.step is not None for f in result.flags) <= 3


def test_a_sensor_that_turns_after_the_last_contact_costs_no_figure(
    usual: tuple[Recording, pd.DataFrame],
) -> None:
    recording, steps = usual
    result = imuproc.process(FAULTS["slip"].spoil(recording, 20.0, np.random.default_rng(1)))
    sound = imuproc.process(recording)
    (flag,) = [f for f in result.flags if f.name == "standing_differs"]
    assert flag.values["kept_in_run"] is True
    for name in ANGLES:
        assert result.steps[name].isna().sum() <= sound.steps[name].isna().sum() + 1, name
        moved = compute_errors(result.steps, steps, name) - compute_errors(sound.steps, steps, name)
        assert np.nanmax(np.abs(moved)) < 1.5, name
