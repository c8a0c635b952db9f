"""Peaks against scipy and a signal whose answer is plain."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from imuproc.dsp.peaks import find_peaks


@settings(deadline=None, max_examples=100)
@given(
    x=st.lists(st.one_of(st.integers(-3, 3), st.just(float("nan"))), max_size=40),
    least=st.sampled_from([-np.inf, 0.0, 2.0]),
)
def test_peaks_of_few_levels_and_gaps_equal_those_of_scipy(x, least):
    expected, _ = signal.find_peaks(np.array(x, dtype=float), height=least)
    np.testing.assert_array_equal(find_peaks(np.array(x, dtype=float), least), expected)


@settings(deadline=None, max_examples=100)
@given(seed=st.integers(0, 9999), distance=st.integers(1, 30), least=st.floats(-2.0, 2.0))
def test_peaks_apart_equal_those_of_scipy(seed, distance, least):
    x = np.random.default_rng(seed).normal(size=200)
    expected, _ = signal.find_peaks(x, height=least, distance=distance)
    np.testing.assert_array_equal(find_peaks(x, least, distance), expected)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_too_few_samples_have_no_peak(n):
    assert len(find_peaks(np.arange(float(n)))) == 0


def test_a_lower_peak_gives_way_only_to_one_that_stays():
    x = np.array([0.0, 1.0, 0.0, 2.0, 0.0, 3.0, 0.0])
    np.testing.assert_array_equal(find_peaks(x, distance=3), [1, 5])
