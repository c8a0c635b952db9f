"""A rate that is stated wrongly for all logs alike is noticed by the rotation of the run."""

from dataclasses import replace

import numpy as np
import pytest

import imuproc
from tests.simulated import USUAL, make_run


def test_a_rate_that_is_stated_wrongly_costs_all_but_the_events() -> None:
    sprint = make_run(USUAL)[0]
    logs = {site: replace(log, time_s=0.94 * log.time_s) for site, log in sprint.logs.items()}
    result = imuproc.process(replace(sprint, logs=logs))
    (flag,) = (flag for flag in result.flags if flag.name == "rate_differs")
    true_hz = 1.0 / np.median(np.diff(sprint.logs["left_foot"].time_s))
    assert flag.values["fitting_hz"] == pytest.approx(true_hz, rel=0.03)
    steps = result.steps
    assert steps["touchdown_s"].notna().all()
    for name in ("contact_time_s", "step_length_m", "shin_angle_touchdown_deg", "speed_mps"):
        assert steps[name].isna().all()
    assert result.distances == {}
