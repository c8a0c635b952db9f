import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from imuproc.agreement.statistics.shares import estimate_f1, estimate_share


# Wilson 1927, J Am Stat Assoc 22:209; computed.
@pytest.mark.parametrize(
    ("hits", "count", "interval"),
    [(863, 889, (0.9575, 0.9800)), (364, 380, (0.9327, 0.9739))],
)
def test_wilson(hits: int, count: int, interval: tuple[float, float]) -> None:
    found = estimate_share(hits, count)
    assert (round(found.low, 4), round(found.high, 4)) == interval


@pytest.mark.parametrize(("hits", "count"), [(0, 5), (3, 7), (95, 100), (431, 450), (20, 20)])
def test_the_interval_is_that_of_another_library(hits: int, count: int) -> None:
    found = estimate_share(hits, count)
    assert found.value == hits / count
    theirs = proportion_confint(hits, count, method="wilson")
    assert (found.low, found.high) == pytest.approx(theirs, abs=1e-12)


def test_nothing_counted_gives_nothing() -> None:
    assert np.isnan(estimate_share(0, 0).value)
    assert np.isnan(estimate_f1(0, 0, 0).low)


@pytest.mark.parametrize(("hits", "why"), [(3, "not be greater than n"), (-1, "not less than 0")])
def test_a_share_beyond_all_or_below_none_is_refused(hits: int, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        estimate_share(hits, 2)


@given(st.integers(0, 200), st.integers(0, 50), st.integers(0, 50))
def test_f1_is_the_harmonic_mean_and_within_its_interval(
    found: int, missed: int, invented: int
) -> None:
    f1 = estimate_f1(found, missed, invented)
    if found:
        precision, recall = found / (found + invented), found / (found + missed)
        assert f1.value == pytest.approx(2 * precision * recall / (precision + recall))
    if found + missed + invented:
        assert -1e-12 <= f1.low <= f1.value <= f1.high <= 1.0


def test_the_interval_of_f1_agrees_with_resampling() -> None:
    rng = np.random.default_rng(6)
    found, missed, invented = 180, 14, 9
    n = found + missed + invented
    draws = rng.multinomial(n, np.array([found, missed, invented]) / n, size=20000)
    f1 = 2 * draws[:, 0] / (2 * draws[:, 0] + draws[:, 1] + draws[:, 2])
    low, high = np.percentile(f1, [2.5, 97.5])
    mine = estimate_f1(found, missed, invented)
    assert (mine.low, mine.high) == pytest.approx((low, high), abs=0.006)
