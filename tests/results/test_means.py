"""How sure a mean is, held against errors that are drawn, and against the law of propagation."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest

from imuproc.core.columns import repeat_name, uncertainty_name
from imuproc.core.uncertainty import PARTS_OF, SET_UP
from imuproc.results.columns import KEY_FIGURES
from imuproc.results.means import compute_means, compute_typical_u
from imuproc.results.summarising import summarise
from tests.report.fake_result import fake_parts, fake_steps
from tests.simulated import USUAL, make_result, make_run, match_rows, select_running

FloatArray = np.ndarray

# What the guide says is left of a part in a mean (imuproc/guides/figures.md), put down here anew:
# how much of a step's error all steps have alike, and whether the feet have it in turns.
WHOLE = {"drift", "alignment", "soft_tissue", "length", "stance", "clipping", *SET_UP}
ONE_TOUCHDOWN_TO_THE_NEXT = {"step_time_s", "step_frequency_hz", "step_length_m", "speed_mps"}


def alike(figure: str, part: str) -> tuple[float, bool]:
    if part in WHOLE:
        return 1.0, False
    if part in ("asymmetry", "clock"):
        return 1.0, not figure.endswith("_deg")
    return (0.0, False) if part == "stride" else (0.6, figure in ONE_TOUCHDOWN_TO_THE_NEXT)


def made_up(figure: str, count: int, seed: int = 5) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Steps and parts of a figure's uncertainty, of uneven sizes."""
    rng = np.random.default_rng(seed)
    steps = fake_steps(count)
    steps[figure] = rng.normal(1.0, 0.1, count)
    names = PARTS_OF[figure]
    return steps, pd.DataFrame(rng.uniform(0.5, 2.0, (count, len(names))), columns=list(names))


def drawn_errors(
    figure: str, parts: Mapping[str, FloatArray], left: FloatArray, draws: int = 20_000
) -> FloatArray:
    """Errors of the mean of a run, over many runs, each part's errors drawn as it is said to go."""
    rng = np.random.default_rng(20_310_412)
    total = np.zeros(draws)
    for name, part in parts.items():
        share, by_turns = alike(figure, name)
        sign = np.where(left, 1.0, -1.0) if by_turns else np.ones(len(part))
        common = rng.standard_normal((draws, 1)) * sign
        own = rng.standard_normal((draws, len(part)))
        total += (part * (share * common + np.sqrt(1.0 - share**2) * own)).mean(axis=1)
    return total


@pytest.mark.parametrize("count", [2, 5, 12])
@pytest.mark.parametrize("figure", KEY_FIGURES)
def test_the_errors_of_drawn_means_scatter_as_stated(figure: str, count: int) -> None:
    steps, table = made_up(figure, count)
    mean = compute_means(steps, {figure: table}, [np.ones(count, dtype=bool)])[0][figure]
    left = (steps["side"] == "left").to_numpy()
    parts = {name: table[name].to_numpy() for name in table}
    within = {name: part for name, part in parts.items() if name not in SET_UP}
    # Of 20 000 draws a standard deviation is known to 0.5 %.
    assert drawn_errors(figure, parts, left).std() == pytest.approx(mean.u, rel=0.02)
    assert drawn_errors(figure, within, left).std() == pytest.approx(mean.u_repeat, rel=0.02)


@pytest.mark.parametrize("figure", KEY_FIGURES)
def test_it_is_the_law_of_propagation_with_correlations(figure: str) -> None:
    """JCGM 100:2008, 5.2.2, equation 13 (from memory), for the mean of correlated inputs."""
    count = 7
    steps, table = made_up(figure, count)
    sign = np.where(steps["side"] == "left", 1.0, -1.0)
    covariance = np.zeros((count, count))
    for name in table:
        share, by_turns = alike(figure, str(name))
        together = np.outer(sign, sign) if by_turns else np.ones((count, count))
        r = share**2 * together + (1.0 - share**2) * np.eye(count)
        covariance += r * np.outer(table[name], table[name])
    mean = compute_means(steps, {figure: table}, [np.ones(count, dtype=bool)])[0][figure]
    assert mean.u == pytest.approx(np.sqrt(covariance.sum()) / count, rel=1e-9)


def test_a_single_step_is_as_sure_as_its_row_says() -> None:
    result = make_result(USUAL)
    for row in range(len(result.steps)):
        only = np.arange(len(result.steps)) == row
        means = compute_means(result.steps, result.uncertainty, [only])[0]
        for figure, mean in means.items():
            step = result.steps.iloc[row]
            if not mean.count:
                assert np.isnan([mean.value, mean.u, mean.u_repeat]).all()
                continue
            told = [step[name] for name in (figure, uncertainty_name(figure), repeat_name(figure))]
            assert [mean.value, mean.u, mean.u_repeat] == pytest.approx(told, rel=1e-9)
            assert np.isnan(mean.sd)


@pytest.mark.parametrize(
    ("part", "of_one", "of_many"),
    [("stance", 3.0, 3.0), ("stride", 3.0, 0.15), ("asymmetry", 3.0, 0.0)],
)
def test_what_is_left_over_many_steps(part: str, of_one: float, of_many: float) -> None:
    for count, expected in ((1, of_one), (400, of_many)):
        steps = fake_steps(count).assign(step_length_m=1.8)
        table = pd.DataFrame({part: np.full(count, 3.0)})
        every = np.ones(count, dtype=bool)
        mean = compute_means(steps, {"step_length_m": table}, [every])[0]["step_length_m"]
        assert mean.u == pytest.approx(expected, abs=1e-9)


def test_a_difference_between_feet_stays_where_one_foot_is_missing() -> None:
    steps = fake_steps(10).assign(step_length_m=1.8)
    steps.loc[steps["side"] == "right", "step_length_m"] = np.nan
    table = pd.DataFrame({"asymmetry": np.full(10, 0.0125)})
    mean = compute_means(steps, {"step_length_m": table}, [np.ones(10, dtype=bool)])[0]
    assert mean["step_length_m"].count == 5
    assert mean["step_length_m"].u == pytest.approx(0.0125)


def test_mean_and_scatter_are_those_of_the_steps_chosen() -> None:
    steps = fake_steps(9)
    chosen = (steps["phase"] == "drive").to_numpy()
    mean = compute_means(steps, fake_parts(steps), [chosen, ~chosen])[1]["contact_time_s"]
    # pandas divides by n - 1.
    others = steps["contact_time_s"][~chosen]
    expected = (len(others), others.mean(), others.std())
    assert (mean.count, mean.value, mean.sd) == pytest.approx(expected)


def test_without_parts_nothing_is_stated() -> None:
    steps = fake_steps(6)
    mean = compute_means(steps, {}, [np.ones(6, dtype=bool)])[0]["contact_time_s"]
    assert np.isfinite(mean.value)
    assert np.isnan([mean.u, mean.u_repeat]).all()


def test_a_part_that_is_not_known_in_a_step_is_not_taken_for_nothing() -> None:
    steps = fake_steps(6)
    table = fake_parts(steps)["contact_time_s"]
    table.loc[2, "toe_off"] = np.nan
    mean = compute_means(steps, {"contact_time_s": table}, [np.ones(6, dtype=bool)])[0]
    assert np.isnan(mean["contact_time_s"].u)


def test_means_of_a_simulated_sprint_are_right_within_what_they_state() -> None:
    """Truth: the simulator's own steps; by phase and over the effort, every key figure."""
    result, truth = make_result(USUAL), select_running(make_run(USUAL)[1])
    pairs = dict(match_rows(result.steps, truth))
    within = []
    for phase in summarise(result).phases:
        rows = [k for k in np.flatnonzero(result.steps["phase"] == phase.phase) if k in pairs]
        for figure in KEY_FIGURES:
            measured = result.steps[figure].to_numpy()[rows]
            true = truth[figure].to_numpy()[[pairs[k] for k in rows]]
            known = np.isfinite(measured) & np.isfinite(true)
            mean = phase.means[figure]
            if known.sum() == mean.count > 0:
                within.append(abs(mean.value - true[known].mean()) <= 2.0 * mean.u)
    assert len(within) > 25
    assert np.mean(within) >= 0.95


def test_what_single_steps_are_sure_of_and_why() -> None:
    steps = fake_steps(6)
    found = compute_typical_u(steps, fake_parts(steps), "contact_time_s")
    assert found is not None
    total, parts = found
    assert total == pytest.approx(0.003)
    assert sum(part**2 for part in parts.values()) == pytest.approx(0.003**2)
    assert list(parts)[-1] == "reference"  # the least one is last
    assert compute_typical_u(steps, {}, "contact_time_s") is None
    assert compute_typical_u(steps, fake_parts(steps), "speed_mps") is None
