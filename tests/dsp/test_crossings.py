"""Crossings against waves whose answer is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.dsp.crossings import find_crossings


def test_crossings_of_straight_lines_are_exact_between_samples():
    time_s = np.array([10.0, 11.0, 12.0, 14.0])
    x = np.array([0.0, 4.0, -4.0, 0.0])
    np.testing.assert_allclose(find_crossings(time_s, x, 1.0), [10.25, 11.375])
    np.testing.assert_allclose(find_crossings(time_s, x, 1.0, "rising"), [10.25])
    np.testing.assert_allclose(find_crossings(time_s, x, 1.0, "falling"), [11.375])
    np.testing.assert_allclose(find_crossings(time_s, x, -2.0, "rising"), [13.0])


@settings(deadline=None, max_examples=50)
@given(frequency_hz=st.floats(1.0, 12.0), phase=st.floats(0.0, 6.2), rate_hz=st.floats(200, 1000))
def test_every_zero_of_a_sine_is_found_once(frequency_hz, phase, rate_hz):
    time_s = np.arange(0.0, 2.0, 1.0 / rate_hz)
    x = np.sin(2.0 * np.pi * frequency_hz * time_s + phase)
    last = (2.0 * np.pi * frequency_hz * time_s[-1] + phase) / (2.0 * np.pi)
    # Zeros closer than a sample to an end may fall outside: they are left out of the comparison.
    turns = np.arange(np.ceil(phase / (2.0 * np.pi)), last)
    truth_s = (2.0 * np.pi * turns - phase) / (2.0 * np.pi * frequency_hz)
    inner = (truth_s > 2.0 / rate_hz) & (truth_s < time_s[-1] - 2.0 / rate_hz)
    found_s = find_crossings(time_s, x, 0.0, "rising")
    found_s = found_s[(found_s > 2.0 / rate_hz) & (found_s < time_s[-1] - 2.0 / rate_hz)]
    near = np.abs(found_s[:, None] - truth_s[None, inner]) < 0.02 / rate_hz
    assert near.any(axis=0).all()
    assert len(found_s) <= inner.sum() + 2
    assert (np.diff(found_s) > 0.9 / frequency_hz).all()


def test_a_sample_on_the_level_counts_once():
    time_s = np.arange(5.0)
    x = np.array([-1.0, 0.0, 1.0, 0.0, -1.0])
    np.testing.assert_array_equal(find_crossings(time_s, x, 0.0), [1.0, 3.0])


def test_no_crossing_is_invented_across_missing_samples():
    x = np.array([-1.0, -1.0, np.nan, 1.0, 1.0])
    assert len(find_crossings(np.arange(5.0), x, 0.0)) == 0


def test_level_may_change_with_time():
    time_s = np.arange(4.0)
    level = np.array([0.0, 1.0, 2.0, 3.0])
    np.testing.assert_allclose(find_crossings(time_s, np.full(4, 1.5), level, "falling"), [1.5])


def test_unknown_direction_is_refused():
    with pytest.raises(ValueError, match="allowed are 'rising', 'falling', 'both'"):
        find_crossings(np.arange(3.0), np.zeros(3), 0.0, "up")
