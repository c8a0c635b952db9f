import numpy as np
import pytest

from imuproc.agreement.statistics.limits import limits_of_agreement
from imuproc.agreement.statistics.nested import nested_limits
from tests.validation.published import IC, RV, SUBJECT


def test_the_form_of_2007() -> None:
    # Bland & Altman 2007, J Biopharm Stat 17:571, section 3: 0.6021667, 0.99062408,
    # -1.3394565 ... 2.5437899.
    found = nested_limits(RV - IC, SUBJECT)
    assert found.bias == pytest.approx(0.6021667, abs=5e-8)
    assert found.sd == pytest.approx(0.99062408, abs=5e-8)
    assert (found.lower, found.upper) == pytest.approx((-1.3394565, 2.5437899), abs=2e-7)


def test_leaving_the_subjects_out_of_account_is_too_narrow() -> None:
    naive = limits_of_agreement(RV - IC)
    assert naive.sd == pytest.approx(0.961057, abs=5e-7)
    assert (naive.lower, naive.upper) == pytest.approx((-1.28151, 2.48584), abs=5e-6)
    nested = nested_limits(RV - IC, SUBJECT)
    assert nested.upper_high - nested.upper_low > 2.0 * (naive.upper_high - naive.upper_low)


def test_intervals_hold_the_true_limit_as_often_as_they_say() -> None:
    rng = np.random.default_rng(5)
    athlete = np.repeat(np.arange(10), 12)
    true = 1.96 * np.sqrt(1.0 + 0.25)
    held, trials = 0, 600
    bias_held = 0
    for _ in range(trials):
        d = rng.standard_normal(10)[athlete] + 0.5 * rng.standard_normal(120)
        found = nested_limits(d, athlete)
        held += found.upper_low <= true <= found.upper_high
        bias_held += found.bias_low <= 0.0 <= found.bias_high
    assert held / trials == pytest.approx(0.95, abs=0.03)
    assert bias_held / trials == pytest.approx(0.95, abs=0.03)


def test_no_scatter_between_athletes_leaves_that_within() -> None:
    d = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    found = nested_limits(d, [1, 1, 2, 2, 3, 3])
    assert found.sd == pytest.approx(np.sqrt(2.0))


@pytest.mark.parametrize(
    ("athletes", "why"),
    [
        (["a", "a", "a", "a"], "One athlete"),
        (["a", "b", "c", "d"], "One step for each athlete"),
    ],
)
def test_what_cannot_be_nested_is_told(athletes: list[str], why: str) -> None:
    found = nested_limits([1.0, 2.0, 3.0, 5.0], athletes)
    assert why in found.note
    assert np.isnan(found.sd)
    assert found.bias == 2.75


def test_lengths_must_be_equal() -> None:
    with pytest.raises(ValueError, match="of the same length"):
        nested_limits([1.0, 2.0, 3.0], ["a", "b"])
