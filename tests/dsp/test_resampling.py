"""Interpolation onto a regular grid: right where there are samples, silent where there are none."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.dsp.resampling import (
    interpolate,
    is_near_samples,
    make_regular_grid,
    measure_sample_distance,
)


def uneven(seed, n=200, period_s=0.01):
    return np.cumsum(np.random.default_rng(seed).uniform(0.6, 1.4, n)) * period_s


def test_grid_of_large_stamps_stays_regular():
    grid_s = make_regular_grid(1.7e9, 1.7e9 + 100.0, 500.0)
    assert len(grid_s) == 50_001
    assert grid_s[0] == 1.7e9
    # Doubles of this size are 2.4e-7 s apart.
    np.testing.assert_allclose(grid_s - 1.7e9, np.arange(50_001) / 500.0, atol=2.4e-7)


def test_grid_ends_within_the_span():
    np.testing.assert_allclose(make_regular_grid(0.0, 0.0295, 100.0), [0.0, 0.01, 0.02])
    assert len(make_regular_grid(0.0, 0.3, 10.0)) == 4  # 0.3 * 10 is 2.9999999999999996
    assert len(make_regular_grid(1.0, 0.0, 10.0)) == 0


def test_samples_on_the_grid_come_back_as_they_are():
    time_s = 1.7e9 + np.arange(300) / 500.0
    x = np.random.default_rng(1).normal(size=(300, 3))
    # Half a step of double precision at this size, times slopes of a few hundred per second.
    np.testing.assert_allclose(interpolate(time_s, x, time_s, 0.01), x, atol=1e-12)


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 9999), a=st.floats(-9, 9), b=st.floats(-9, 9), c=st.floats(-9, 9))
def test_parabolas_and_lines_are_met_exactly(seed, a, b, c):
    time_s = uneven(seed)
    grid_s = np.linspace(time_s[0], time_s[-1], 331)
    parabola = np.stack((a * time_s**2 + b * time_s + c, c - a * time_s), axis=1)
    expected = np.stack((a * grid_s**2 + b * grid_s + c, c - a * grid_s), axis=1)
    found = interpolate(time_s, parabola, grid_s, 1.0)
    np.testing.assert_allclose(found, expected, atol=1e-9)
    found = interpolate(time_s, parabola[:, 1], grid_s, 1.0)
    np.testing.assert_allclose(found, expected[:, 1], atol=1e-9)


def test_limb_motion_at_500_hz_with_jitter_is_met_better_than_by_straight_lines():
    """25 Hz is above where sagittal limb rates have their power; bars are one part in 1000."""
    time_s = uneven(3, 2000, 0.002)
    grid_s = np.arange(time_s[2], time_s[-3], 0.002)
    truth = np.sin(2.0 * np.pi * 25.0 * grid_s)
    x = np.sin(2.0 * np.pi * 25.0 * time_s)
    error = np.std(interpolate(time_s, x, grid_s, 0.01) - truth)
    assert error < 1e-3
    assert error < 0.5 * np.std(np.interp(grid_s, time_s, x) - truth)


def test_long_gaps_and_the_outside_are_never_filled():
    time_s = np.concatenate((np.arange(0.0, 1.0, 0.01), np.arange(1.5, 2.0, 0.01)))
    x = np.sin(time_s)
    grid_s = np.arange(-0.2, 2.3, 0.0025)
    found = interpolate(time_s, x, grid_s, 0.035)
    inside = (grid_s >= 0.0) & (grid_s <= 1.99 + 1e-9)
    hole = (grid_s > 0.99 + 1e-9) & (grid_s < 1.5 - 1e-9)
    assert np.isnan(found[~inside | hole]).all()
    assert np.isfinite(found[inside & ~hole]).all()


def test_missing_rows_count_as_missing_samples():
    time_s = np.arange(100) * 0.01
    x = np.stack((time_s, -time_s), axis=1)
    x[40:42, 0] = np.nan  # a short hole in one channel: bridged in both
    x[60:75, 1] = np.inf  # a long one: missing in both
    found = interpolate(time_s, x, time_s, 0.045)
    np.testing.assert_allclose(found[38:45, 0], time_s[38:45], atol=1e-12)
    np.testing.assert_array_equal(
        np.isnan(found).all(axis=1), np.isin(np.arange(100), range(60, 75))
    )
    assert not np.isnan(found[~np.isnan(found).all(axis=1)]).any()


@pytest.mark.parametrize("n", [0, 1, 2])
def test_hardly_any_samples(n):
    found = interpolate(np.arange(float(n)), np.ones(n), np.array([0.0, 0.5, 1.0]), 2.0)
    assert np.isfinite(found).all() if n == 2 else np.isnan(found).all()


def test_times_must_increase():
    with pytest.raises(ValueError, match="must strictly increase"):
        interpolate(np.array([0.0, 1.0, 1.0]), np.zeros(3), np.zeros(1), 1.0)


@settings(deadline=None, max_examples=40)
@given(
    times=st.lists(st.floats(-10, 10), min_size=1, max_size=20, unique=True),
    grid=st.lists(st.floats(-20, 20), min_size=1, max_size=20),
)
def test_distance_to_the_nearest_sample(times, grid):
    time_s, grid_s = np.sort(np.array(times)), np.array(grid)
    expected = np.abs(grid_s[:, None] - time_s[None]).min(axis=1)
    np.testing.assert_allclose(measure_sample_distance(time_s, grid_s), expected)


@given(
    st.lists(st.integers(-50, 50), max_size=12, unique=True),
    st.lists(st.integers(-80, 80), max_size=20),
    st.floats(0.0, 30.0),
)
def test_near_is_within_that_distance(times, grid, reach_s):
    time_s, grid_s = np.sort(np.array(times, dtype=float)), np.array(grid, dtype=float)
    expected = measure_sample_distance(time_s, grid_s) <= reach_s
    np.testing.assert_array_equal(is_near_samples(time_s, grid_s, reach_s), expected)


def test_distance_without_samples_is_infinite():
    assert np.isinf(measure_sample_distance(np.empty(0), np.arange(3.0))).all()
