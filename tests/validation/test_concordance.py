import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from imuproc.agreement.statistics.concordance import compute_concordance, proportional_bias
from tests.validation.published import IC, MINI_1, RV, SUBJECT, WRIGHT_1

X = np.arange(1.0, 6.0)


def test_defining_examples() -> None:
    # Lin 1989, Biometrics 45:255 (from memory): a shift by one on 1 to 5 gives 0.8.
    assert compute_concordance(X, X + 1.0).value == pytest.approx(0.8)
    assert compute_concordance(X, X).value == pytest.approx(1.0)
    # of the table in Bland & Altman 1986; computed
    assert compute_concordance(WRIGHT_1, MINI_1).value == pytest.approx(0.942742, abs=5e-7)


def test_it_holds_the_true_value_as_often_as_it_says() -> None:
    rng = np.random.default_rng(8)
    true = 2 * 0.9 / (1 + 1 + 0.3**2)
    held = 0
    for _ in range(800):
        x = rng.standard_normal(40)
        y = 0.9 * x + np.sqrt(1 - 0.81) * rng.standard_normal(40) + 0.3
        found = compute_concordance(x, y)
        held += found.low <= true <= found.high
    assert held / 800 == pytest.approx(0.95, abs=0.025)


@given(st.floats(0.1, 50), st.floats(-50, 50))
def test_a_common_change_of_unit_changes_nothing(scale: float, shift: float) -> None:
    before = compute_concordance(WRIGHT_1, MINI_1)
    after = compute_concordance(scale * WRIGHT_1 + shift, scale * MINI_1 + shift)
    assert (after.value, after.low, after.high) == pytest.approx(
        (before.value, before.low, before.high), abs=1e-9
    )


def test_what_cannot_be_given_says_why() -> None:
    assert "2 pairs" in compute_concordance([1.0, 2.0], [1.0, 2.0]).note
    assert "Neither varies" in compute_concordance([1.0] * 4, [2.0] * 4).note
    constant = compute_concordance([1.0, 2.0, 3.0], [2.0] * 3)
    assert constant.value == 0.0
    assert np.isnan(constant.low)
    with pytest.raises(ValueError, match="same length"):
        compute_concordance([1.0, 2.0], [1.0])


def test_slope_of_independent_pairs_is_that_of_a_general_library() -> None:
    mine = proportional_bias(WRIGHT_1, MINI_1)
    mean, difference = 0.5 * (WRIGHT_1 + MINI_1), WRIGHT_1 - MINI_1
    theirs = sm.OLS(difference, sm.add_constant(mean)).fit()
    low, high = theirs.conf_int()[1]
    assert (mine.slope, mine.low, mine.high) == pytest.approx((theirs.params[1], low, high))
    assert mine.p == pytest.approx(theirs.pvalues[1])
    assert mine.intercept == pytest.approx(theirs.params[0])


def test_slope_of_nested_steps_is_that_of_a_general_library() -> None:
    mine = proportional_bias(RV, IC, SUBJECT)
    theirs = sm.OLS(RV - IC, sm.add_constant(0.5 * (RV + IC))).fit(
        cov_type="cluster", cov_kwds={"groups": SUBJECT}, use_t=True
    )
    low, high = theirs.conf_int()[1]
    assert (mine.slope, mine.low, mine.high) == pytest.approx((theirs.params[1], low, high))
    assert mine.method == "clustered by athlete"


def test_a_gain_error_is_seen_and_a_bias_is_not_a_slope() -> None:
    rng = np.random.default_rng(4)
    true = rng.uniform(0.1, 0.2, 60)
    noisy = true + 0.001 * rng.standard_normal(60)
    gain = proportional_bias(1.10 * noisy, true)
    assert gain.low > 0.0
    assert gain.slope == pytest.approx(0.10 / 1.05, abs=0.02)
    assert proportional_bias(noisy + 0.01, true).slope == pytest.approx(0.0, abs=0.02)


def test_a_slope_that_cannot_be_given_says_why() -> None:
    assert "2 pairs" in proportional_bias([1.0, 2.0], [1.0, 2.0]).note
    assert "All means are equal" in proportional_bias([1.0] * 4, [1.0] * 4).note
    assert "One athlete" in proportional_bias(X, X + 0.1 * X, ["a"] * 5).note
