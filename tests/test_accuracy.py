"""Accuracy that users are promised, on a small set; the whole sweep is scripts/accuracy.py.

Simulated starts: seeds that nothing was tuned to. Real motion: optical poses and force-plate
contacts of Fukuchi, Fukuchi & Duarte 2017 (PeerJ 5:e3298), 20 N above local zero, made into signals
of mid-grade sensors at 500 Hz.
"""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from scripts.accuracy import Judged, real, run, simulated, summary
from tests.shared_data import needs_shared_data

SEED = 88_100


@cache
def simulated_runs() -> tuple[Judged, ...]:
    return tuple(run(simulated(4, SEED, "mid", 500.0), "all", False))


@cache
def real_runs() -> tuple[Judged, ...]:
    return tuple(run(real("mid", 500.0, SEED, "none", 5), "all", False))


def figures(judged: tuple[Judged, ...]) -> pd.DataFrame:
    return summary(list(judged)).set_index("figure")


def swing_rmse_deg(judged: tuple[Judged, ...]) -> float:
    return float(np.sqrt(np.mean([one.pitch_swing_rms_deg**2 for one in judged])))


def test_every_simulated_step_is_found_and_none_invented() -> None:
    assert sum(one.real_steps for one in simulated_runs()) > 80
    assert sum(one.found for one in simulated_runs()) == sum(
        one.real_steps for one in simulated_runs()
    )
    assert sum(one.invented for one in simulated_runs()) == 0


@pytest.mark.parametrize(
    ("figure", "bias", "rmse"),
    [
        # The sweep's bar is 5 ms; it gave 4.9 ms on 24 runs and 4.8 ms on 20 others, and sets as
        # small as this one scatter about that by some 0.5 ms.
        ("contact_time_s", 0.002, 0.0055),
        ("shin_angle_touchdown_deg", 0.7, 1.5),
        ("dorsiflexion_swing_min_deg", np.inf, 2.0),
        ("step_frequency_hz", np.inf, 0.06),
        ("step_length_m", np.inf, 0.05),
    ],
)
def test_simulated_starts(figure: str, bias: float, rmse: float) -> None:
    row = figures(simulated_runs()).loc[figure]
    assert abs(row["bias"]) <= bias
    assert row["rmse"] <= rmse


def test_foot_pitch_curve_of_simulated_swings() -> None:
    assert swing_rmse_deg(simulated_runs()) <= 2.5


@needs_shared_data
def test_real_steps_are_found_and_none_invented() -> None:
    assert sum(one.real_steps for one in real_runs()) > 60
    assert all(one.found == one.real_steps and one.invented == 0 for one in real_runs())


@needs_shared_data
@pytest.mark.parametrize(
    ("figure", "bias", "rmse"),
    [
        ("touchdown_s", 0.004, 0.007),
        ("toe_off_s", 0.004, 0.007),
        ("contact_time_s", 0.006, 0.008),
        ("shin_angle_touchdown_deg", 0.7, 1.5),
        ("dorsiflexion_swing_min_deg", 1.5, 2.0),
        ("step_frequency_hz", 0.02, 0.08),
        ("step_length_m", 0.03, 0.04),
    ],
)
def test_real_motion_against_force_plate_and_optics(figure: str, bias: float, rmse: float) -> None:
    row = figures(real_runs()).loc[figure]
    assert abs(row["bias"]) <= bias
    assert row["rmse"] <= rmse


@needs_shared_data
def test_foot_pitch_curve_of_real_swings() -> None:
    assert swing_rmse_deg(real_runs()) <= 2.0


@needs_shared_data
def test_stated_uncertainty_covers_real_errors() -> None:
    table = figures(real_runs())
    assert table["within_2u_percent"].between(85.0, 100.0).all()
    assert 90.0 <= table["within_2u_percent"].mean() <= 99.5
