"""The comparison of methods: rules find marks that were put there; all give sensible figures."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from imuproc.core.recording import Interval
from imuproc.dsp.rotations import quat_from_rotvec
from imuproc.synth.plan import draw_plan
from imuproc.synth.runs import simulate_run
from scripts import accuracy, compare_methods
from scripts.lab import comparison_tables
from scripts.lab import event_methods as rules
from scripts.lab import orientation_methods as drift
from tests.shared_data import needs_shared_data

pytest.importorskip("vqf", reason="the orientation filter is not installed")

FloatArray = NDArray[np.float64]

RATE_HZ = 500.0
TIME_S = np.arange(0.0, 2.0, 1.0 / RATE_HZ)
CYCLE = np.array([[250, 550]])  # 0.5 s to 1.1 s
STANCE = np.array([[300, 400]])  # 0.6 s to 0.8 s
DOWN_S, OFF_S = 0.6, 0.8


def make_bump(at_s: float, width_s: float = 0.02) -> FloatArray:
    return np.exp(-0.5 * ((TIME_S - at_s) / width_s) ** 2)


def assert_marks(events: rules.Events, down_s: float, off_s: float) -> None:
    np.testing.assert_allclose(np.concatenate(events), [down_s, off_s], atol=0.001)


def test_minima_of_the_foot_rate() -> None:
    rate = (
        10.0 * make_bump(0.5)
        + 10.0 * make_bump(1.1)
        - 8.0 * make_bump(0.601)
        - 9.0 * make_bump(0.83)
    )
    assert_marks(rules.find_foot_rate_minima(TIME_S, rate, CYCLE, RATE_HZ), 0.601, 0.83)


def test_push_off_before_half_the_cycle_needs_the_stance() -> None:
    rate = (
        10.0 * make_bump(0.5)
        + 10.0 * make_bump(1.1)
        - 6.0 * make_bump(0.601)
        - 9.0 * make_bump(0.76)
    )
    halves = rules.find_foot_rate_minima(TIME_S, rate, CYCLE, RATE_HZ)
    assert halves[0][0] == pytest.approx(0.76, abs=0.002)  # the cut lies behind the push-off
    assert_marks(
        rules.find_foot_rate_minima_in_stance(TIME_S, rate, CYCLE, STANCE, RATE_HZ), 0.601, 0.76
    )


def test_marks_of_the_shank_rate() -> None:
    swing = 10.0 * np.cos(2.0 * np.pi * (TIME_S - 0.5) / 0.6)
    rate = swing - 3.0 * make_bump(0.7) - 6.0 * make_bump(0.9)
    assert_marks(
        rules.find_shank_zero_and_minimum(TIME_S, swing, CYCLE, RATE_HZ), 0.5 + 0.25 * 0.6, 0.8
    )
    first, last = rules.find_shank_two_minima(TIME_S, rate, CYCLE, RATE_HZ)
    assert 0.68 < first[0] < 0.75
    assert 0.86 < last[0] < 0.92


def test_peaks_of_acceleration() -> None:
    accel = np.zeros((len(TIME_S), 3))
    accel[:, 2] = 9.8 + 60.0 * make_bump(0.61) - 20.0 * make_bump(0.81)
    assert_marks(rules.find_shank_acceleration_peaks(TIME_S, accel, STANCE, RATE_HZ), 0.61, 0.81)
    # A Gaussian rises steepest one standard deviation before its peak.
    assert_marks(rules.find_foot_acceleration_peaks(TIME_S, accel, STANCE, RATE_HZ), 0.59, 0.81)


def test_foot_slower_than_a_limit() -> None:
    speed = 8.0 * np.clip(np.abs(TIME_S - 0.7) / 0.2, 0.0, 1.0)
    events = rules.find_slow_foot(TIME_S, speed, np.array([350]), CYCLE, 2.0)
    assert_marks(events, 0.65, 0.75)


def test_speed_is_zero_at_rests_however_biased_the_accelerometer() -> None:
    upright = np.tile([1.0, 0.0, 0.0, 0.0], (len(TIME_S), 1))
    accel = np.zeros((len(TIME_S), 3))
    accel[:, 0] = 0.3 + 20.0 * np.sin(2.0 * np.pi * TIME_S / 0.5)
    accel[:, 2] = 9.81
    rests = np.array([0, 250, 500, 750])
    speed = rules.estimate_foot_speed(upright, accel, rests, RATE_HZ, 9.81)
    np.testing.assert_allclose(speed[rests], 0.0, atol=1e-9)
    assert speed[:751].max() == pytest.approx(20.0 * 0.5 / np.pi, rel=0.01)


def test_no_mark_where_there_is_none() -> None:
    rate = np.full(len(TIME_S), 5.0)
    zero, minimum = rules.find_shank_zero_and_minimum(TIME_S, rate, CYCLE, RATE_HZ)
    assert np.isnan([zero[0], minimum[0]]).all()


def test_drift_closes_between_two_stands() -> None:
    """A segment that stands still, whose gyroscope says that it leans back 2 deg a second."""
    still = Interval(0.0, 0.4), Interval(1.6, 2.0)
    gyro = np.zeros((len(TIME_S), 3))
    gyro[:, 1] = -np.radians(2.0)
    accel = np.tile([0.0, 0.0, 9.81], (len(TIME_S), 1))
    quat = drift.integrate_rate(TIME_S, gyro, RATE_HZ, still[0])
    closed = drift.close_between_stands(
        TIME_S, quat, accel, still, drift.spread_drift_by_time(TIME_S)
    )
    ahead = np.array([1.0, 0.0, 0.0])
    swing = np.tile([0.0, -1.0, 0.0], (len(TIME_S), 1))
    open_deg = drift.compute_sagittal_deg(TIME_S, quat, swing, ahead, still[0])
    closed_deg = drift.compute_sagittal_deg(TIME_S, closed, swing, ahead, still[0])
    assert open_deg[-1] == pytest.approx(2.0 * 1.8, abs=0.05)
    middle = (TIME_S > 0.2) & (TIME_S < 1.8)
    assert np.abs(closed_deg[middle]).max() < 0.05


def test_levelling_in_stance_takes_a_tilt_off() -> None:
    tilted = np.tile(quat_from_rotvec(np.array([0.0, 0.1, 0.0])), (len(TIME_S), 1))
    accel = np.tile([0.0, 0.0, 9.81], (len(TIME_S), 1))
    level = drift.level_in_stance(tilted, accel, np.array([300, 600]), RATE_HZ)
    np.testing.assert_allclose(level, np.tile([1.0, 0.0, 0.0, 0.0], (len(TIME_S), 1)), atol=1e-9)


def test_mean_error_of_the_others_is_taken_off() -> None:
    errors = pd.DataFrame(
        {
            "method": "rule",
            "figure": "touchdown",
            "athlete": ["a", "a", "b", "c"],
            "error": [0.010, 0.012, 0.020, np.nan],
        }
    )
    free = comparison_tables.remove_offset(errors)
    np.testing.assert_allclose(free[:3], [-0.010, -0.008, 0.009], atol=1e-12)
    assert np.isnan(free[3])
    alone = comparison_tables.remove_offset(errors[errors["athlete"] == "a"])
    assert alone.isna().all()


def test_marks_far_from_any_truth_are_not_found() -> None:
    error = compare_methods.find_nearest_error(np.array([1.01, np.nan, 5.0]), np.array([1.0, 2.0]))
    np.testing.assert_allclose(error, [0.01, np.nan])


@cache
def compare_simulated() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Two runs, so that offsets can be taken from the other athlete."""
    runs = []
    for seed, start in ((88_300, "crouch"), (88_301, "blocks")):
        rng = np.random.default_rng(seed)
        plan = draw_plan(rng, start=start, distance_m=20.0)
        runs.append((f"{start}-{seed}", *simulate_run(plan, "mid", 500.0, rng)))
    events, angles = compare_methods.compare_methods(iter(runs), compare_methods.find_runner)
    return comparison_tables.build_event_table(events), comparison_tables.build_angle_table(angles)


def test_every_method_gives_sensible_events() -> None:
    events, _ = compare_simulated()
    assert events["method"].nunique() == 10
    assert set(events["figure"]) == set(comparison_tables.EVENTS)
    assert events["found_percent"].between(50.0, 100.0).all()
    assert events["bias_ms"].abs().max() < 1e3 * compare_methods.FOUND_S * 2.0
    assert (events["rmse_ms"] >= events["sd_ms"] - 1e-9).all()
    found = events.set_index(["figure", "method"])["found_percent"]
    assert found["touchdown", "package: from motion"] == 100.0


def test_every_method_gives_sensible_angles() -> None:
    _, angles = compare_simulated()
    assert set(angles["steps"]) == {"1 to 5", "later", "all"}
    assert angles["rmse_deg"].between(0.01, 60.0).all()
    shin = angles[(angles["figure"] == "shin at touchdown") & (angles["steps"] == "all")]
    assert len(shin) == 10
    # Integration for some ten seconds with a bias known from standing drifts a few degrees at most.
    drifted = shin.set_index("method").loc["integration from standing", "rmse_deg"]
    assert 0.05 < drifted < 5.0


def test_the_verdict_is_read_off_the_tables() -> None:
    events, angles = compare_simulated()
    worse = events.copy()
    ours = worse["method"].str.startswith(comparison_tables.PACKAGE)
    worse.loc[ours, ["rmse_ms", "free_rmse_ms"]] += 1000.0
    text = comparison_tables.describe_verdict(worse, angles)
    assert "touchdown, as it is: least RMSE" in text
    assert text.splitlines()[0].count("best of the package 1") == 1


@needs_shared_data
def test_a_real_case_runs_through() -> None:
    runs = accuracy.make_real_cases("mid", 500.0, 88_300, "none", 1)
    events, angles = compare_methods.compare_methods(runs, compare_methods.find_runner)
    table = comparison_tables.build_event_table(events).set_index(["figure", "method"])
    assert table.loc[("toe-off", "foot: acceleration peaks"), "found_percent"] > 95.0
    assert table["free_rmse_ms"].isna().all()  # of one athlete there are no others
    assert angles["athlete"].nunique() == 1
