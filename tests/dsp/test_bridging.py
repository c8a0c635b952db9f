"""Gaps bridged by a straight line: found, and as wrong as the signal around them says."""

import numpy as np
import pytest

from imuproc.dsp.bridging import find_bridges

RATE_HZ = 500.0
TIME_S = np.arange(0.0, 6.0, 1.0 / RATE_HZ)


def holes(*spans):
    measured = np.ones(len(TIME_S), dtype=bool)
    for start, end in spans:
        measured[(start <= TIME_S) & (end > TIME_S)] = False
    return measured


def test_a_straight_line_bridges_a_straight_line_without_error() -> None:
    found = find_bridges(3.0 * TIME_S - 1.0, holes((2.0, 2.2)), RATE_HZ)
    assert TIME_S[found.first] == pytest.approx([2.0], abs=0.0021)
    assert TIME_S[found.last] == pytest.approx([2.2], abs=0.0021)
    np.testing.assert_allclose(found.error, 0.0, atol=1e-9)


@pytest.mark.parametrize("width_s", [0.02, 0.05, 0.1])
def test_the_error_is_that_of_the_trapezoid_over_the_gap(width_s: float) -> None:
    """A sine of rate w over T: -w² a T³ / 12 times the sine in the middle, for small w T."""
    w, size = 2.0 * np.pi * 2.0, 10.0
    found = find_bridges(size * np.sin(w * TIME_S), holes((3.0, 3.0 + width_s)), RATE_HZ)
    span = width_s + 1.0 / RATE_HZ
    rms = w**2 * size * span**3 / 12.0 / np.sqrt(2.0)
    np.testing.assert_allclose(found.error, rms, rtol=0.12)


def test_a_gap_in_rest_is_worth_less_than_one_in_motion() -> None:
    x = np.where(TIME_S > 4.0, 8.0 * np.sin(2.0 * np.pi * 3.0 * TIME_S), 0.0)
    found = find_bridges(x, holes((0.5, 0.6), (5.0, 5.1)), RATE_HZ)
    assert found.error[0] < 1e-9
    assert found.error[1] > 0.05


def test_nothing_to_compare_with_is_endless() -> None:
    found = find_bridges(np.sin(TIME_S), holes((0.0, 3.5), (3.6, 6.1)), RATE_HZ)
    assert np.isinf(found.error).all()


def test_no_gap() -> None:
    found = find_bridges(np.sin(TIME_S), holes(), RATE_HZ)
    assert len(found.first) == len(found.last) == len(found.error) == 0
