import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imuproc.agreement.statistics.limits import (
    limits_of_agreement,
    repeatability,
    root_mean_square,
)
from tests.validation.published import MINI_1, MINI_2, WRIGHT_1, WRIGHT_2

D = WRIGHT_1 - MINI_1


def test_the_example_of_1986() -> None:
    # Bland & Altman 1986, Lancet 327:307, printed to one decimal; the rest computed from its table.
    two = limits_of_agreement(D, multiplier=2.0, error="approximate")
    assert (round(two.bias, 1), round(two.sd, 1)) == (-2.1, 38.8)
    assert two.bias == pytest.approx(-2.117647, abs=5e-7)
    assert two.sd == pytest.approx(38.765130, abs=5e-7)
    # The paper prints -79.7 and 75.5, from rounded bias and SD.
    assert (two.lower, two.upper) == pytest.approx((-79.6479, 75.4126), abs=5e-5)
    assert (two.bias_low, two.bias_high) == pytest.approx((-22.049, 17.814), abs=5e-4)
    assert (two.lower_low, two.lower_high) == pytest.approx((-114.17, -45.13), abs=5e-3)
    assert (two.upper_low, two.upper_high) == pytest.approx((40.89, 109.93), abs=5e-3)
    usual = limits_of_agreement(D)
    assert (usual.lower, usual.upper) == pytest.approx((-78.0973, 73.8620), abs=5e-5)


def test_standard_errors_of_a_limit() -> None:
    # 2.119905 is Student's t with 16 degrees of freedom; both errors computed from the 1986 table.
    for error, se in (("approximate", 16.2846), ("large-sample", 16.3951)):
        found = limits_of_agreement(D, error=error)  # type: ignore[arg-type]
        half = 0.5 * (found.upper_high - found.upper_low)
        assert half / 2.119905 == pytest.approx(se, abs=5e-5)


def test_repeatability_of_both_meters() -> None:
    # Bland & Altman 1986: about 43 and 56.
    assert repeatability(WRIGHT_1, WRIGHT_2) == pytest.approx(43.294, abs=5e-4)
    assert repeatability(MINI_1, MINI_2) == pytest.approx(56.316, abs=5e-4)


def test_the_exact_interval_holds_the_true_limit_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    held = dict.fromkeys(("exact", "approximate"), 0)
    for _ in range(800):
        d = rng.standard_normal(6)
        for error in held:
            found = limits_of_agreement(d, error=error)  # type: ignore[arg-type]
            held[error] += found.upper_low <= 1.96 <= found.upper_high
    assert held["exact"] / 800 == pytest.approx(0.95, abs=0.025)
    assert held["approximate"] < held["exact"]


def test_a_general_library_gives_the_same_limits() -> None:
    mine = limits_of_agreement(D, error="large-sample")
    frame = pd.DataFrame({"a": WRIGHT_1, "b": MINI_1})
    axes = pingouin.plot_blandaltman(frame["a"], frame["b"], agreement=1.96, confidence=None)
    heights = sorted(float(line.get_ydata()[0]) for line in axes.get_lines())
    assert mine.lower == pytest.approx(heights[0])
    assert mine.upper == pytest.approx(heights[-1])


def test_too_few_pairs_give_the_bias_and_say_why() -> None:
    found = limits_of_agreement([1.0, 3.0, np.nan])
    assert found.bias == 2.0
    assert np.isnan([found.sd, found.lower, found.upper_high]).all()
    assert "2 pairs: at least 3" in found.note


def test_equal_differences_give_limits_of_no_width() -> None:
    found = limits_of_agreement([0.5] * 5)
    assert (found.lower, found.upper_high, found.note) == (0.5, 0.5, "All differences are equal.")


def test_an_unknown_interval_is_refused() -> None:
    with pytest.raises(ValueError, match="is not one of exact, large-sample, approximate"):
        limits_of_agreement([1.0, 2.0, 4.0], error="magic")  # type: ignore[arg-type]


@given(
    st.lists(st.floats(-100, 100), min_size=3, max_size=30),
    st.floats(-50, 50),
)
def test_limits_move_with_a_bias_and_keep_their_width(values: list[float], shift: float) -> None:
    d = np.array(values)
    before, after = limits_of_agreement(d), limits_of_agreement(d + shift)
    assert after.lower == pytest.approx(before.lower + shift, abs=1e-6)
    assert after.upper_high == pytest.approx(before.upper_high + shift, abs=1e-6)
    assert after.sd == pytest.approx(before.sd, abs=1e-9)


def test_root_mean_square_joins_bias_and_scatter() -> None:
    assert root_mean_square([3.0, -4.0, np.nan]) == pytest.approx(np.sqrt(12.5))
    assert np.isnan(root_mean_square([]))
