"""Numbers of steps and runs against a general statistics library, and against simulated studies."""

from math import inf, nan

import numpy as np
import pytest
from scipy.stats import ttest_ind
from statsmodels.stats.power import TTestIndPower

from imuproc.planning.sample_size import compute_needed_count, compute_power


@pytest.mark.parametrize("effect", [0.05, 0.2, 0.37, 0.5, 0.8, 1.3, 2.5])
@pytest.mark.parametrize(("alpha", "power"), [(0.05, 0.8), (0.05, 0.95), (0.01, 0.9)])
def test_numbers_are_those_of_a_general_library(effect: float, alpha: float, power: float) -> None:
    exact = TTestIndPower().solve_power(effect, alpha=alpha, power=power)
    assert compute_needed_count(effect * 3.0, 3.0, alpha, power) == max(2, np.ceil(exact))


def test_large_studies_need_what_the_textbook_form_says() -> None:
    """2 (1.959964 + 0.841621)² = 15.6978 for 5 % and 80 %; some 16 sd²/change²."""
    assert compute_needed_count(0.1, 1.0) == pytest.approx(15.6978 / 0.01, abs=2.0)
    assert compute_needed_count(-0.1, 1.0) == compute_needed_count(0.1, 1.0)


def test_so_many_steps_really_show_the_change_so_often() -> None:
    n = int(compute_needed_count(0.8, 1.0))
    rng = np.random.default_rng(5)
    first, second = rng.normal(size=(2, n, 4000))
    shown = np.mean(ttest_ind(first, second + 0.8).pvalue < 0.05)
    assert 0.78 < shown < 0.84  # n is the least whole number, so a little above 80 %
    assert compute_power(n - 1, 0.8, 0.05) < 0.8


def test_without_scatter_two_are_enough_and_tiny_changes_take_too_many() -> None:
    assert compute_needed_count(1.0, 0.0) == 2.0
    assert compute_needed_count(100.0, 1.0) == 2.0
    assert compute_needed_count(1e-6, 1.0) == inf
    assert np.isnan(compute_needed_count(1.0, nan))


@pytest.mark.parametrize(
    ("change", "sd", "alpha", "power", "message"),
    [
        (0.0, 1.0, 0.05, 0.8, "change is 0 and sd 1; allowed: not 0"),
        (1.0, -1.0, 0.05, 0.8, "sd -1; allowed"),
        (1.0, 1.0, 0.0, 0.8, "alpha is 0, power 0.8; allowed"),
        (1.0, 1.0, 0.05, 1.0, "power 1; allowed"),
        (1.0, 1.0, 0.5, 0.4, "allowed: 0 < alpha < power < 1"),
    ],
)
def test_what_means_nothing_is_refused(
    change: float, sd: float, alpha: float, power: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        compute_needed_count(change, sd, alpha, power)
