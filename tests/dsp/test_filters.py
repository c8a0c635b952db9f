"""Filters against the published correction, scipy and plain definitions."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.signal import butter, filtfilt, lfilter, lfilter_zi

from imuproc.dsp.butterworth import filter_butterworth
from imuproc.dsp.filters import (
    average_blocks,
    choose_odd_width,
    correct_cutoff_hz,
    differentiate,
    find_finite_runs,
    low_pass,
    moving_max,
    moving_mean,
    moving_std,
    smooth_binomially,
)

# Winter, Biomechanics and Motor Control of Human Movement, 4th ed., p. 69; Robertson et al.,
# Research Methods in Biomechanics, 2nd ed., p. 288: C = (2^(1/n) - 1)^(1/4), 0.802 for two passes,
# applied to the warped frequency. The decimals are computed from that formula by hand.
WINTER_TWO_PASSES = 0.8022432629


def test_correction_factor_for_two_passes_is_winters():
    # Far below half the rate the warping vanishes and the ratio is the factor itself.
    assert 0.01 / correct_cutoff_hz(0.01, 1000.0) == pytest.approx(WINTER_TWO_PASSES, rel=1e-8)


@pytest.mark.parametrize(
    ("rate_hz", "cutoff_hz", "design_hz"),
    [(1000.0, 50.0, 62.0450), (500.0, 20.0, 24.8580), (200.0, 50.0, 56.9577)],
)
def test_corrected_cutoff_values(rate_hz, cutoff_hz, design_hz):
    """Winter p. 69 and Robertson p. 288 give the formula; values computed from it."""
    assert correct_cutoff_hz(cutoff_hz, rate_hz) == pytest.approx(design_hz, abs=5e-5)


def test_one_pass_needs_no_correction():
    assert correct_cutoff_hz(30.0, 500.0, passes=1) == pytest.approx(30.0, rel=1e-12)


@pytest.mark.parametrize(("rate_hz", "cutoff_hz"), [(1000.0, 50.0), (500.0, 20.0), (200.0, 50.0)])
def test_gain_at_the_cutoff_is_3_db_for_both_passes_together(rate_hz, cutoff_hz):
    """Definition of the cut-off: 0.70711. Without the correction two passes give 0.5."""
    time_s = np.arange(4000) / rate_hz
    wave = np.sin(2.0 * np.pi * cutoff_hz * time_s)
    middle = slice(1000, 3000)
    kept = low_pass(wave, cutoff_hz, rate_hz)[middle]
    gain = (kept @ wave[middle]) / (wave[middle] @ wave[middle])
    assert gain == pytest.approx(np.sqrt(0.5), abs=1e-5)
    shifted = np.cos(2.0 * np.pi * cutoff_hz * time_s[middle])
    assert kept @ shifted / len(shifted) == pytest.approx(0.0, abs=1e-4)  # zero phase


def test_low_pass_equals_scipy_filtfilt_away_from_the_ends():
    x = np.random.default_rng(5).normal(size=(3000, 3))
    b, a = butter(2, correct_cutoff_hz(12.0, 300.0), fs=300.0)
    reference = filtfilt(b, a, x, axis=0)
    np.testing.assert_allclose(low_pass(x, 12.0, 300.0)[300:-300], reference[300:-300], atol=1e-9)


@pytest.mark.parametrize("n", [1, 31, 32, 33, 1000, 20_000])
@pytest.mark.parametrize("cutoff_hz", [0.5, 8.0, 99.0])
def test_one_pass_equals_the_recursion_of_scipy(n, cutoff_hz):
    x = np.cumsum(np.random.default_rng(n).normal(size=(2, n)), axis=1)
    b, a = butter(2, cutoff_hz, fs=200.0)
    reference = lfilter(b, a, x, zi=lfilter_zi(b, a) * x[:, :1])[0]
    np.testing.assert_allclose(
        filter_butterworth(x, cutoff_hz, 200.0), reference, atol=1e-9 * np.abs(x).max()
    )


def test_low_pass_keeps_any_number_of_dimensions_apart():
    x = np.random.default_rng(6).normal(size=(200, 2, 3))
    together = low_pass(x, 20.0, 200.0)
    assert together.shape == x.shape
    np.testing.assert_allclose(together[:, 1, 2], low_pass(x[:, 1, 2], 20.0, 200.0), atol=1e-12)


def test_low_pass_keeps_a_steady_slope_up_to_both_ends():
    slope = np.linspace(-4.0, 9.0, 300)
    np.testing.assert_allclose(low_pass(slope, 5.0, 500.0), slope, atol=1e-5)


def test_missing_samples_stay_missing_and_do_not_touch_the_rest():
    x = np.random.default_rng(7).normal(size=(400, 2))
    holed = x.copy()
    holed[150:160, 1] = np.nan
    out = low_pass(holed, 15.0, 200.0)
    assert np.isnan(out[150:160]).all()
    np.testing.assert_array_equal(out[:150], low_pass(x[:150], 15.0, 200.0))
    np.testing.assert_array_equal(out[160:], low_pass(x[160:], 15.0, 200.0))


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_short_stretches_are_filtered_as_far_as_they_go(n):
    out = low_pass(np.full(n, 3.0), 10.0, 100.0)
    np.testing.assert_allclose(out, np.full(n, 3.0), atol=1e-12)


@pytest.mark.parametrize("cutoff_hz", [50.0, 80.0, 0.0, -1.0, float("nan")])
def test_cutoff_that_the_rate_cannot_carry_is_refused(cutoff_hz):
    with pytest.raises(ValueError, match=r"above 0 and below half the rate \(50 Hz\)"):
        low_pass(np.zeros(100), cutoff_hz, 100.0)


@pytest.mark.parametrize(
    ("rate_hz", "passes", "words"), [(0.0, 2, "rate_hz is 0"), (100.0, 0, "passes is 0")]
)
def test_impossible_rate_or_passes_are_refused(rate_hz, passes, words):
    with pytest.raises(ValueError, match=words):
        correct_cutoff_hz(10.0, rate_hz, passes)


def test_stretches_are_the_rows_without_a_hole():
    x = np.array([[np.nan, 1], [1, 1], [2, 2], [1, np.inf], [0, 0]])
    assert find_finite_runs(x) == [slice(1, 3), slice(4, 5)]
    assert find_finite_runs(np.full(3, np.nan)) == []


def test_derivative_of_a_parabola_is_exact_up_to_both_ends():
    time_s = np.arange(50) / 200.0
    np.testing.assert_allclose(
        differentiate(3.0 * time_s**2 - time_s, 200.0), 6.0 * time_s - 1.0, atol=1e-9
    )


def test_derivative_of_two_samples_is_their_slope():
    np.testing.assert_allclose(differentiate(np.array([[1.0], [1.5]]), 100.0), [[50.0], [50.0]])


def test_derivative_needs_two_samples():
    with pytest.raises(ValueError, match="two samples or more; there are 1"):
        differentiate(np.zeros(1), 100.0)


def test_means_of_blocks_equal_their_definition_also_beside_missing_samples():
    x = np.random.default_rng(9).normal(size=(50, 3))
    x[17, 1] = np.nan
    expected = x[:48].reshape(12, 4, 3).mean(axis=1)
    np.testing.assert_allclose(average_blocks(x, 4), expected, atol=1e-14)
    assert np.isnan(expected).sum() == 1


def test_the_binomial_weights_keep_lines_and_cancel_what_alternates():
    line = np.arange(7.0)
    np.testing.assert_allclose(smooth_binomially(line), line, atol=1e-12)
    alternating = 1.0 - 2.0 * (np.arange(7) % 2)
    np.testing.assert_allclose(smooth_binomially(alternating)[1:-1], 0.0)
    # An impulse comes back as the row of Pascal's triangle, 1 2 1, over its sum.
    np.testing.assert_allclose(4.0 * smooth_binomially(np.eye(5)[2]), [0.0, 1.0, 2.0, 1.0, 0.0])
    np.testing.assert_array_equal(smooth_binomially(np.array([3.0, 5.0])), [3.0, 5.0])


samples = arrays(
    np.float64,
    st.tuples(st.integers(1, 60), st.integers(1, 3)),
    elements=st.one_of(st.floats(-1e3, 1e3, width=32), st.just(float("nan"))),
)


@settings(deadline=None, max_examples=60)
@given(x=samples, half=st.integers(0, 40))
def test_moving_statistics_equal_their_definitions(x, half):
    width = 2 * half + 1
    functions = {
        moving_mean: np.mean,
        moving_std: np.std,
        moving_max: np.max,
    }
    for moving, plain in functions.items():
        expected = np.full(x.shape, np.nan)
        for i, j in np.ndindex(*x.shape):
            window = x[max(0, i - half) : i + half + 1, j]
            window = window[np.isfinite(window)]
            if len(window):
                expected[i, j] = plain(window)
        np.testing.assert_allclose(moving(x, width), expected, rtol=1e-9, atol=1e-4)


def test_moving_std_of_small_noise_survives_large_values_elsewhere():
    """A running total over a long log would lose the stillness of its end in round-off."""
    rng = np.random.default_rng(8)
    x = np.concatenate((rng.normal(9.8, 300.0, 300_000), rng.normal(9.8, 1e-3, 2_000)))
    assert moving_std(x, 501)[-600:-300] == pytest.approx(1e-3, rel=0.15)


@pytest.mark.parametrize("width", [0, -3, 4])
def test_window_without_a_middle_is_refused(width):
    for moving in (moving_mean, moving_std, moving_max):
        with pytest.raises(ValueError, match="odd number of samples"):
            moving(np.zeros(10), width)


@pytest.mark.parametrize(
    ("duration_s", "rate_hz", "width"), [(0.05, 100.0, 5), (0.1, 500.0, 51), (0.001, 100.0, 1)]
)
def test_window_of_a_duration_is_odd_and_near_it(duration_s, rate_hz, width):
    found = choose_odd_width(duration_s, rate_hz)
    assert found % 2 == 1
    assert abs(found - width) <= 2
    assert abs(found - duration_s * rate_hz) <= 1.0
