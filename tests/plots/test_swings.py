from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes

from imuproc.core.errors import PlotError
from imuproc.core.result import Result
from imuproc.plots import plot_dorsiflexion
from tests.plots.drawn import line, withheld

TOUCHDOWN = "dorsiflexion_touchdown_deg"


def thin(axes: Axes) -> list[np.ndarray]:
    """Single swings."""
    return [np.asarray(m.get_xydata()) for m in axes.lines if m.get_linewidth() < 0.8]


def test_swings_end_at_the_touchdown_angles_of_the_table(result: Result, axes: Axes) -> None:
    plot_dorsiflexion(result, axes)
    swings = thin(axes)
    assert len(swings) == len(result.steps) - 2  # the first of each foot has no toe-off before it
    ends = np.sort([swing[-1, 1] for swing in swings])
    table = np.sort(result.steps[TOUCHDOWN].to_numpy()[2:])
    np.testing.assert_allclose(ends, table, atol=0.5)
    assert {(swing[0, 0], swing[-1, 0]) for swing in swings} == {(0.0, 100.0)}
    assert axes.get_xlabel() == "Swing, toe-off to touchdown (%)"
    assert axes.get_ylabel() == "Dorsiflexion (deg)"


def test_means_leave_out_slowing(result: Result, axes: Axes) -> None:
    phase = result.steps["phase"].mask(result.steps["step"] > 6, "slowing")
    plot_dorsiflexion(replace(result, steps=result.steps.assign(phase=phase)), axes)
    swings = thin(axes)
    assert len(swings) == len(result.steps) - 2
    left = [s for s, m in zip(swings, axes.lines[1:], strict=False) if m.get_color() == "#0072b1"]
    np.testing.assert_allclose(line(axes, "left, mean of 2")[:, 1], np.mean(left[:2], axis=0)[:, 1])


def test_withheld_swings_are_not_drawn(result: Result, axes: Axes) -> None:
    plot_dorsiflexion(withheld(result, [5, 6], TOUCHDOWN), axes)
    assert len(thin(axes)) == len(result.steps) - 4


def test_a_run_without_is_refused(result: Result, axes: Axes) -> None:
    steps = list(result.steps["step"])
    with pytest.raises(PlotError, match="run R07-01: has no swing whose dorsiflexion is known"):
        plot_dorsiflexion(withheld(result, steps, TOUCHDOWN), axes)
    bare = replace(result, curves=result.curves[["time_s", "shin_angle_left_deg"]])
    with pytest.raises(PlotError, match="run R07-01: has no dorsiflexion"):
        plot_dorsiflexion(bare, axes)
    assert not axes.lines
