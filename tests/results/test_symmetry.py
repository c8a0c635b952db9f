import numpy as np
import pytest

from imuproc.results.symmetry import (
    ALIKE_SHARE,
    compute_scatter_u,
    compute_stated_u,
    left_minus_right,
    symmetry_angle_pct,
    symmetry_index_pct,
)


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


@pytest.mark.parametrize(
    ("left", "right", "angle_pct"),
    [
        # Worked from the definition of Zifchock et al. 2008, Gait Posture 27:622 (from memory).
        (110.0, 100.0, -3.029234),
        (100.0, 110.0, 3.029234),
        (0.1, 0.1, 0.0),
        (200.0, 100.0, -20.483276),
        (0.120, 0.114, -1.632000),
        (1.0, 0.0, -50.0),
        # 45° - atan(-2) = 108.43°: above 90°, so 180° is subtracted: -71.57° / 90°.
        (-2.0, 1.0, -79.516724),
        (-1.0, 2.0, 79.516724),
    ],
)
def test_symmetry_angle(left: float, right: float, angle_pct: float) -> None:
    assert symmetry_angle_pct(left, right) == pytest.approx(angle_pct, abs=1e-6)


def test_no_symmetry_angle_of_nothing() -> None:
    assert np.isnan(symmetry_angle_pct(0.0, 0.0))
    assert np.isnan(symmetry_angle_pct(float("nan"), 0.1))


@pytest.mark.parametrize(("count", "wide"), [(10, 1.8), (20, 1.3)])
def test_scatter_tells_how_far_chance_carries_the_difference(count: int, wide: float) -> None:
    # Steps that scatter by chance alone: the difference must lie within twice its uncertainty as
    # often as stated, and the uncertainty must be no wider than few steps make it: ten steps give
    # eight comparisons that overlap, about as a t-distribution with 3 degrees of freedom (1.7).
    rng = np.random.default_rng(7)
    step, left = run_of(count)
    runs = 0.12 + rng.normal(0.0, 0.004, (1500, count)) + np.where(left, 0.01, 0.0)
    errors = np.array([left_minus_right(run, step, left) for run in runs]) - 0.01
    u = np.array([compute_scatter_u(run, step, left) for run in runs])
    assert (np.abs(errors) < 2.0 * u).mean() > 0.94
    assert np.median(u) < wide * errors.std()


def test_scatter_does_not_depend_on_a_steady_change_nor_on_the_difference() -> None:
    step, left = run_of(14)
    noise = np.random.default_rng(3).normal(0.0, 1.0, 14)
    plain = compute_scatter_u(noise, step, left)
    assert compute_scatter_u(
        noise + 3.0 * step + np.where(left, 5.0, 0.0), step, left
    ) == pytest.approx(plain)
    assert plain > 0.0


def test_with_few_steps_the_scatter_is_not_known() -> None:
    for count in range(8):
        step, left = run_of(count)
        assert np.isnan(compute_scatter_u(np.arange(count) ** 2.0, step, left))


def test_what_all_steps_of_a_side_share_does_not_average_out() -> None:
    for count in (10, 100):
        _, left = run_of(count)
        u = np.where(left, 0.3, 0.4)
        assert compute_stated_u(u, left, traded=False) == pytest.approx(ALIKE_SHARE * 0.5)
        assert compute_stated_u(u, left, traded=True) == pytest.approx(ALIKE_SHARE * 0.7)
    assert np.isnan(compute_stated_u(np.where(left, 0.3, np.nan), left, traded=False))
