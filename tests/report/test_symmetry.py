import numpy as np
import pytest

from imuproc.report.symmetry import left_minus_right, symmetry_index_pct


def run_of(count: int, first_left: bool = True) -> tuple[np.ndarray, np.ndarray]:
    step = np.arange(1, count + 1)
    return step, (step % 2 == 1) == first_left


@pytest.mark.parametrize("first_left", [True, False])
def test_a_constant_difference_is_found(first_left: bool) -> None:
    step, left = run_of(9, first_left)
    values = np.where(left, 0.124, 0.120)
    assert left_minus_right(values, step, left) == pytest.approx(0.004, abs=1e-12)


@pytest.mark.parametrize("first_left", [True, False])
@pytest.mark.parametrize("difference_s", [0.0, 0.004])
def test_the_change_through_an_acceleration_is_no_difference(
    first_left: bool, difference_s: float
) -> None:
    # Contact time by step, fitted to the step ranges of Blauberger et al. 2021 (Sensors 21:7331,
    # table 1); plain means of the sides differ by some 10 ms here.
    step, left = run_of(12, first_left)
    trend = 0.1077 + 0.0852 * np.exp(-(step - 1) / 4.15)
    values = trend + np.where(left, 0.5, -0.5) * difference_s
    plain = values[left].mean() - values[~left].mean()
    assert abs(plain - difference_s) > 0.005
    assert left_minus_right(values, step, left) == pytest.approx(difference_s, abs=0.0005)


def test_a_missing_figure_costs_only_its_neighbours() -> None:
    step, left = run_of(12)
    values = np.where(left, 95.0, 90.0)
    values[5] = np.nan
    assert left_minus_right(values, step, left) == pytest.approx(5.0)


def test_steps_across_a_missed_one_are_not_compared() -> None:
    step = np.array([1, 2, 4, 5])  # no three in a row
    left = np.array([True, False, False, True])
    assert np.isnan(left_minus_right(np.array([1.0, 2.0, 3.0, 4.0]), step, left))


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_too_few_steps_give_nothing(count: int) -> None:
    step, left = run_of(count)
    assert np.isnan(left_minus_right(np.ones(count), step, left))


@pytest.mark.parametrize(
    ("left", "right", "index_pct"),
    [
        # Worked from the definition of Robinson, Herzog & Nigg 1987 (from memory).
        (110.0, 100.0, 9.523810),
        (100.0, 110.0, -9.523810),
        (200.0, 100.0, 66.666667),
        (0.120, 0.114, 5.128205),
        (0.1, 0.1, 0.0),
    ],
)
def test_symmetry_index(left: float, right: float, index_pct: float) -> None:
    assert symmetry_index_pct(left, right) == pytest.approx(index_pct, abs=1e-6)


@pytest.mark.parametrize(("left", "right"), [(-0.01, 0.02), (0.0, 0.1), (float("nan"), 0.1)])
def test_no_index_where_the_figure_has_no_true_zero(left: float, right: float) -> None:
    assert np.isnan(symmetry_index_pct(left, right))
