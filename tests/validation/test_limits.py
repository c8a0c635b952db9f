import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure

from imuproc.agreement.statistics.limits import limits_of_agreement, root_mean_square
from tests.validation.published import MINI_1, WRIGHT_1

D = WRIGHT_1 - MINI_1


def test_the_example_of_1986() -> None:
    # Bland & Altman 1986, Lancet 327:307, printed to one decimal; the rest computed from its table.
    found = limits_of_agreement(D)
    assert (round(found.bias, 1), round(found.sd, 1)) == (-2.1, 38.8)
    assert found.bias == pytest.approx(-2.117647, abs=5e-7)
    assert found.sd == pytest.approx(38.765130, abs=5e-7)
    assert (found.bias_low, found.bias_high) == pytest.approx((-22.049, 17.814), abs=5e-4)
    # With 1.96 SD; the paper takes 2.
    assert (found.lower, found.upper) == pytest.approx((-78.0973, 73.8620), abs=5e-5)


def test_the_exact_interval_holds_the_true_limit_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    held = paper = 0
    for _ in range(800):
        d = rng.standard_normal(6)
        found = limits_of_agreement(d)
        held += found.upper_low <= 1.96 <= found.upper_high
        # As in the paper: standard error √(3 s²/n), Student's t with 5 degrees of freedom.
        paper += abs(found.upper - 1.96) <= 2.570582 * np.sqrt(3.0 / 6.0) * found.sd
    assert held / 800 == pytest.approx(0.95, abs=0.025)
    assert paper < held


def test_a_general_library_gives_the_same_limits() -> None:
    mine = limits_of_agreement(D)
    frame = pd.DataFrame({"a": WRIGHT_1, "b": MINI_1})
    axes = Figure().add_subplot()  # of its own: other tests leave theirs
    pingouin.plot_blandaltman(frame["a"], frame["b"], agreement=1.96, confidence=None, ax=axes)
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
