from dataclasses import replace
from typing import Literal

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes

from imuproc.core.errors import PlotError
from imuproc.core.result import Result
from imuproc.plots import plot_by_step, plot_runs_compared, plot_shin_angle
from imuproc.results.archive.reading import open_archive
from tests.plots.drawn import SHIN, bars, line, withheld
from tests.plots.test_all import KEPT


def keys(axes: Axes) -> list[str]:
    """Words of the key, its title first."""
    legend = axes.get_legend()
    assert legend
    return [legend.get_title().get_text(), *(text.get_text() for text in legend.get_texts())]


def test_points_are_the_table_and_bars_twice_its_uncertainty(result: Result, axes: Axes) -> None:
    plot_shin_angle(result, axes)
    for side, steps in result.steps.groupby("side"):
        np.testing.assert_array_equal(line(axes, str(side)), steps[["step", SHIN]])
    table = result.steps.sort_values(["side", "step"])
    u, value = table[f"{SHIN}_u"].to_numpy(), table[SHIN].to_numpy()
    ends = bars(axes)[:, :, 1]
    np.testing.assert_allclose(ends, np.column_stack((value - 2.0 * u, value + 2.0 * u)))
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("Step", "Shin angle at touchdown (deg)")
    assert keys(axes) == ["R07-01, bars ±2 u", "left", "right"]


def test_sides_differ_in_marker_fill_and_colour(result: Result, axes: Axes) -> None:
    plot_shin_angle(result, axes)
    left, right = (
        next(made for made in axes.lines if made.get_label() == side) for side in ("left", "right")
    )
    for look in ("marker", "markerfacecolor", "color"):
        assert getattr(left, f"get_{look}")() != getattr(right, f"get_{look}")()


def test_withheld_steps_are_crosses_and_leave_gaps(result: Result, axes: Axes) -> None:
    plot_shin_angle(withheld(result, [3, 6], SHIN), axes)
    crosses = line(axes, "no value")
    assert crosses[:, 0].tolist() == [3.0, 6.0]
    drawn = np.concatenate((line(axes, "left"), line(axes, "right")))
    assert sorted(drawn[np.isnan(drawn[:, 1]), 0]) == [3.0, 6.0]
    assert len(bars(axes)) == len(result.steps) - 2
    assert "no value" in keys(axes)


def test_a_figure_that_is_not_there_is_told_with_the_flags(axes: Axes) -> None:
    with open_archive(KEPT) as archive:
        run = archive.run("R07-01")
        steps = run.steps
        assert "missing_shank" in {flag.name for flag in run.flags}
        assert steps.loc[steps["side"] == "right", SHIN].isna().all()
        plot_shin_angle(run, axes)
        assert np.isnan(line(axes, "right")[:, 1]).all()
        with pytest.raises(
            PlotError,
            match=r"has pelvis_tilt_touchdown_deg in no step; its flags: .*missing_shank",
        ):
            plot_by_step(run, "pelvis_tilt_touchdown_deg", axes)
        with pytest.raises(PlotError, match="earlier version of imuproc; process it again"):
            plot_runs_compared(run, run, SHIN, axes=axes)


@pytest.mark.parametrize("figure", ["contact_tme_s", "flags", "step"])
def test_a_wrong_name_of_a_figure_names_the_nearest(
    figure: str, result: Result, axes: Axes
) -> None:
    with pytest.raises(PlotError, match=f"no figure is called '{figure}'") as caught:
        plot_by_step(result, figure, axes)
    assert ("did you mean 'contact_time_s'?" in str(caught.value)) == figure.startswith("contact")


def changed(result: Result, by: float, run: str = "R07-02", session: str | None = None) -> Result:
    """Another run, its shin angles larger by so much."""
    steps: pd.DataFrame = result.steps.assign(run=run, **{SHIN: result.steps[SHIN] + by})
    return replace(result, run=run, steps=steps, session=session or result.session)


@pytest.mark.parametrize("along", ["step", "distance"])
def test_differences_are_run_minus_other_with_both_uncertainties(
    along: Literal["step", "distance"], result: Result, axes: Axes
) -> None:
    other = withheld(changed(result, 10.0), [4], SHIN)
    assert plot_runs_compared(result, other, SHIN, along, axes) is axes
    twin = axes.figure.axes[-1]
    assert twin is not axes
    drawn = np.concatenate([np.asarray(made.get_xydata()) for made in twin.lines[1:]])
    known = drawn[np.isfinite(drawn).all(axis=1)]
    np.testing.assert_allclose(known[:, 1], -10.0)
    # By distance the place of step 4 is known, and nothing lies between its neighbours' values.
    assert len(known) == np.isfinite(result.steps[SHIN]).sum() - 1
    u = np.delete(result.steps[f"{SHIN}_u_repeat"].to_numpy(), 3)
    half = np.ptp(bars(twin)[:, :, 1], axis=1) / 2.0
    np.testing.assert_allclose(np.sort(half), np.sort(2.0 * np.sqrt(2.0) * u), rtol=1e-9)
    assert keys(axes)[0] == "below: first minus second; bars ±2 u"
    assert keys(axes)[1:] == ["R07-01", "R07-02", "left", "right", "beyond 2 u"]
    assert twin.get_ylabel() == "Difference (deg)"


def test_along_the_distance_points_stand_at_the_sum_of_step_lengths(
    result: Result, axes: Axes
) -> None:
    gap = withheld(result, [5], "step_length_m")
    plot_runs_compared(result, replace(gap, run="R07-02"), SHIN, "distance", axes)
    x, other_x = line(axes, "R07-01")[:, 0], line(axes, "R07-02")[:, 0]
    lengths = result.steps["step_length_m"].to_numpy()
    np.testing.assert_allclose(x[:5], [0.0, *np.cumsum(lengths[:4])])
    np.testing.assert_array_equal(np.isfinite(other_x), np.arange(len(x)) < 5)
    assert axes.get_xlabel() == "Distance from step 1 (m)"


def test_between_sessions_posture_in_standing_counts(result: Result, axes: Axes) -> None:
    other = changed(result, 0.0, session="harbour-2031-05-03")
    plot_runs_compared(result, other, SHIN, axes=axes)
    standing = result.uncertainty[SHIN]["standing"].to_numpy()
    u = np.hypot(result.steps[f"{SHIN}_u_repeat"].to_numpy(), standing)
    half = np.ptp(bars(axes.figure.axes[-1])[:, :, 1], axis=1) / 2.0
    np.testing.assert_allclose(half, 2.0 * np.sqrt(2.0) * u)


def test_only_differences_beyond_their_uncertainty_are_filled(result: Result, axes: Axes) -> None:
    shin = result.steps[SHIN].to_numpy().copy()
    shin[2] += 30.0
    other = replace(result, run="R07-02", steps=result.steps.assign(**{SHIN: shin}))
    plot_runs_compared(result, other, SHIN, axes=axes)
    sure = axes.figure.axes[-1].lines[1]
    np.testing.assert_allclose(sure.get_xydata(), [[3.0, -30.0]])
    assert sure.get_markerfacecolor() == sure.get_color()


def test_differences_lie_below_the_runs(result: Result, axes: Axes) -> None:
    plot_runs_compared(result, changed(result, 3.0), SHIN, axes=axes)
    twin = axes.figure.axes[-1]
    lowest = axes.transData.transform(bars(axes)[:, 0])[:, 1].min()
    highest = twin.transData.transform(bars(twin)[:, 1])[:, 1].max()
    assert highest < lowest


def test_runs_with_nothing_in_common_are_refused(result: Result, axes: Axes) -> None:
    odd, even = ([n for n in result.steps["step"] if n % 2 == rest] for rest in (0, 1))
    with pytest.raises(PlotError, match=r"runs R07-01 and R07-01: have shin_angle_.* in common"):
        plot_runs_compared(
            withheld(result, odd, SHIN), withheld(result, even, SHIN), SHIN, axes=axes
        )
    nowhere = withheld(result, list(result.steps["step"]), "step_length_m")
    with pytest.raises(PlotError, match="run R07-01: has step_length_m in no step"):
        plot_runs_compared(result, nowhere, SHIN, "distance", axes)
    with pytest.raises(ValueError, match="along is 'time'; allowed: step, distance"):
        plot_runs_compared(result, result, SHIN, "time", axes)  # type: ignore[arg-type]
    assert not axes.lines
