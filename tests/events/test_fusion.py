"""Several marks of one event: weights, doubtful marks and missing ones."""

import numpy as np
import pytest

from imuproc.events.fusion import fuse_marks
from tests.usual import METHOD


def both(first_s: float, second_s: float, first_u_s: float, second_u_s: float, rho: float = 0.0):
    return fuse_marks(
        np.array([[first_s], [second_s]]), np.array([[first_u_s], [second_u_s]]), METHOD.fusion, rho
    )


def test_marks_that_agree_are_worth_more_together() -> None:
    found = both(1.0, 1.0, 0.003, 0.003)
    assert found.time_s[0] == pytest.approx(1.0)
    assert found.u_s[0] == pytest.approx(0.003 / np.sqrt(2.0))
    assert found.spread_s[0] == 0.0


def test_the_surer_mark_counts_more() -> None:
    found = both(1.000, 1.002, 0.002, 0.004)
    assert found.time_s[0] == pytest.approx(1.0004, abs=1e-4)
    np.testing.assert_allclose(found.share[:, 0], [0.8, 0.2], atol=0.03)


def test_a_mark_far_off_loses_its_weight_and_widens_the_uncertainty() -> None:
    """By inverse variances alone the mean would lie 5.5 ms off."""
    found = both(1.0, 1.03, 0.002, 0.0042)
    assert found.time_s[0] == pytest.approx(1.0, abs=0.0025)
    assert found.share[1, 0] < 0.08
    assert found.u_s[0] > 1.5 * both(1.0, 1.0, 0.002, 0.0042).u_s[0]


def test_errors_in_common_do_not_average_out() -> None:
    assert both(1.0, 1.0, 0.003, 0.003, 1.0).u_s[0] == pytest.approx(0.003)
    assert both(1.0, 1.0, 0.003, 0.003, 0.5).u_s[0] == pytest.approx(0.003 * np.sqrt(0.75))


def test_a_missing_mark_leaves_the_other_and_none_leaves_nothing() -> None:
    alone = both(1.0, np.nan, 0.003, 0.003)
    assert (alone.time_s[0], alone.u_s[0]) == (pytest.approx(1.0), pytest.approx(0.003))
    none = both(np.nan, np.nan, 0.003, 0.003)
    assert np.isnan(none.time_s[0])
    assert np.isnan(none.u_s[0])


def test_stated_uncertainty_holds_for_errors_drawn_from_it() -> None:
    rng = np.random.default_rng(5)
    u = np.array([[0.002], [0.004]]) * np.ones(4000)
    found = fuse_marks(u * rng.standard_normal(u.shape), u, METHOD.fusion)
    inside = np.mean(np.abs(found.time_s) <= 2.0 * found.u_s)
    assert 0.93 < inside < 0.99


def test_marks_that_cannot_both_be_right_leave_half_their_distance() -> None:
    found = both(1.0, 1.03, 0.002, 0.002)
    assert found.u_s[0] >= 0.015
    assert both(1.0, 1.008, 0.002, 0.002).u_s[0] < 0.006  # 2.8 of their own uncertainty


def test_a_mark_known_to_stray_costs_no_certainty() -> None:
    times, u = np.array([[1.0], [1.03]]), np.array([[0.002], [0.002]])
    assert (
        fuse_marks(times, u, METHOD.fusion, stray=(1,)).u_s[0]
        < 0.012
        < fuse_marks(times, u, METHOD.fusion).u_s[0]
    )


def test_of_two_marks_alone_neither_is_given_up_however_far_apart() -> None:
    for gap_s in (0.03, 0.0525, 0.2, 1.0):
        assert both(0.0, gap_s, 0.003, 0.0035).u_s[0] >= 0.5 * gap_s


def test_an_outvoted_mark_fades_without_a_jump() -> None:
    far_s = np.arange(0.02, 0.4, 1e-4)
    near = np.zeros_like(far_s)
    found = fuse_marks(
        np.stack((near, near, far_s)), np.full((3, len(far_s)), 0.003), METHOD.fusion
    )
    assert np.abs(np.diff(found.u_s)).max() < 0.001
    assert found.u_s[-1] < 0.02
