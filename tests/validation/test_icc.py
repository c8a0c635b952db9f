import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imuproc.agreement.statistics.icc import MODELS, Model, intraclass_correlation, mean_squares
from tests.validation.published import JUDGES

# Shrout & Fleiss 1979, Psychol Bull 86:420, table 2 and 4; six digits computed from its data.
PUBLISHED = {
    "1,1": (0.165742, 0.17),
    "2,1": (0.289764, 0.29),
    "3,1": (0.714841, 0.71),
    "1,k": (0.442797, 0.44),
    "2,k": (0.620051, 0.62),
    "3,k": (0.909316, 0.91),
}
INTERVALS = {"1,1": (-0.133, 0.723), "2,1": (0.019, 0.761), "3,1": (0.342, 0.946)}


def test_mean_squares() -> None:
    ms = mean_squares(JUDGES)
    # 11.24, 6.26, 32.49, 1.02 in the paper
    found = (ms.targets, ms.within, ms.judges, ms.error)
    assert found == pytest.approx((11.241667, 6.263889, 32.486111, 1.019444), abs=5e-7)


@pytest.mark.parametrize("model", PUBLISHED)
def test_the_published_example(model: Model) -> None:
    found = intraclass_correlation(JUDGES, model)
    exact, printed = PUBLISHED[model]
    assert found.value == pytest.approx(exact, abs=5e-7)
    assert round(found.value, 2) == printed
    assert found.meaning == MODELS[model]
    if model in INTERVALS:
        assert (found.low, found.high) == pytest.approx(INTERVALS[model], abs=5e-4)


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # the library's own
def test_a_general_library_gives_the_same() -> None:
    rng = np.random.default_rng(3)
    scores = rng.standard_normal((15, 1)) + 0.5 * rng.standard_normal((15, 2)) + [0.0, 0.4]
    rows = [(i, j, scores[i, j]) for i in range(15) for j in range(2)]
    long = pd.DataFrame(rows, columns=["target", "judge", "score"])
    theirs = pingouin.intraclass_corr(long, "target", "judge", "score").reset_index()
    column = next(name for name in theirs.columns if name.startswith("CI95"))
    for model, row in zip(("1,1", "2,1", "3,1", "1,k", "2,k", "3,k"), range(6), strict=True):
        mine = intraclass_correlation(scores, model)
        assert mine.value == pytest.approx(theirs["ICC"][row], abs=1e-9)
        assert (mine.low, mine.high) == pytest.approx(
            tuple(theirs[column][row]), abs=0.0051
        )  # it rounds


score = st.integers(-10_000, 10_000).map(lambda thousandths: thousandths / 1000.0)
table = st.lists(st.tuples(score, score), min_size=4, max_size=20)


@given(table, st.floats(-20, 20), st.floats(0.1, 10))
def test_shift_and_scale_change_nothing(
    rows: list[tuple[float, float]], shift: float, scale: float
) -> None:
    scores = np.array(rows)
    for model in MODELS:
        before = intraclass_correlation(scores, model).value
        after = intraclass_correlation(scale * scores + shift, model).value
        if np.isfinite(before) and abs(before) < 1e3:
            assert after == pytest.approx(before, abs=1e-5, rel=1e-5)


@given(table, st.floats(0.5, 20))
def test_a_bias_lowers_agreement_but_not_consistency(
    rows: list[tuple[float, float]], bias: float
) -> None:
    scores = np.array(rows)
    moved = scores + np.array([0.0, bias])
    before, after = (intraclass_correlation(x, "3,1") for x in (scores, moved))
    found = (after.value, after.low, after.high)
    # nothing can be told of pairs that are all alike, and a bias does not change that
    expected = pytest.approx((before.value, before.low, before.high), abs=1e-6, nan_ok=True)
    assert found == expected
    assert after.note == before.note
    agreement = intraclass_correlation(moved + np.array([0.0, 1000.0]), "2,1").value
    assert np.isnan(agreement) or agreement < 0.01


def test_what_cannot_be_given_says_why() -> None:
    few = intraclass_correlation([[1.0, 1.1], [2.0, 2.1], [3.0, np.nan]], "2,1")
    assert np.isnan(few.value)
    assert "2 pairs: at least 3" in few.note
    for alike in (np.ones((5, 2)), np.tile([0.1, 0.7], (7, 1)), np.tile([0.1, 0.7], (7, 1)) / 3.0):
        for model in MODELS:
            flat = intraclass_correlation(alike, model)
            assert np.isnan([flat.value, flat.low, flat.high]).all()
            assert "All pairs are alike" in flat.note


def test_a_bias_far_above_the_scatter_leaves_a_finite_interval() -> None:
    rows = [(0.0, 1000.0), (0.0, 1000.0), (0.0, 1000.0), (-0.002, 1000.003)]
    found = intraclass_correlation(rows, "2,1")
    assert (found.value, found.low, found.high) == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)


def test_perfect_agreement_is_one() -> None:
    x = np.arange(6.0)
    for model in MODELS:
        assert intraclass_correlation(np.column_stack((x, x)), model).value == pytest.approx(1.0)


def test_bad_requests_are_refused() -> None:
    with pytest.raises(ValueError, match=r"is not one of 1,1, 2,1"):
        intraclass_correlation(JUDGES, "4,1")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="targets by at least two judges"):
        intraclass_correlation([1.0, 2.0], "2,1")
    with pytest.raises(ValueError, match="complete table"):
        mean_squares([[1.0, np.nan], [2.0, 3.0]])
