"""What stands in axes, as a reader of the plot sees it."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from numpy.typing import NDArray

from imuproc.core.result import Result
from imuproc.plots import (
    plot_by_step,
    plot_contacts,
    plot_dorsiflexion,
    plot_motion,
    plot_runs_compared,
    plot_shin_angle,
    plot_signals,
)

SHIN = "shin_angle_touchdown_deg"

Plot = Callable[[Any, Axes | None], Axes]

PLOTS: dict[str, Plot] = {
    "shin": lambda run, axes: plot_shin_angle(run, axes),
    "by_step": lambda run, axes: plot_by_step(run, "step_length_m", axes),
    "contacts": lambda run, axes: plot_contacts(run, axes),
    "dorsiflexion": lambda run, axes: plot_dorsiflexion(run, axes),
    "compared": lambda run, axes: plot_runs_compared(run, run, SHIN, axes=axes),
    "distance": lambda run, axes: plot_runs_compared(run, run, SHIN, "distance", axes),
    "gyro": lambda run, axes: plot_signals(run, "left_foot", axes=axes),
    "accel": lambda run, axes: plot_signals(run, "right_shank", "accel", axes),
    "motion": lambda run, axes: plot_motion(run, "left_shank", axes),
}


def line(axes: Axes, label: str) -> NDArray[np.float64]:
    """Points of the line of a label, shape (n, 2)."""
    [found] = [made for made in axes.lines if made.get_label() == label]
    return np.asarray(found.get_xydata(), dtype=np.float64)


def bars(axes: Axes) -> NDArray[np.float64]:
    """Ends of all bars of uncertainty, shape (m, 2, 2), those without an end left out."""
    found = [
        np.asarray(segment, dtype=np.float64)
        for made in axes.collections
        if isinstance(made, LineCollection)
        for segment in made.get_segments()
        if len(segment) == 2
    ]
    kept = [bar for bar in found if np.isfinite(bar).all()]
    return np.stack(kept) if kept else np.empty((0, 2, 2))


def everything(axes: Axes) -> list[NDArray[np.float64]]:
    """Data of all lines, bars and areas in a figure, in order of drawing."""
    out = []
    for each in axes.figure.axes:
        out += [np.asarray(made.get_xydata(), dtype=np.float64) for made in each.lines]
        for made in each.collections:
            if isinstance(made, LineCollection):
                out += [np.asarray(segment) for segment in made.get_segments()]
            elif isinstance(made, PolyCollection):
                out += [np.asarray(path.vertices) for path in made.get_paths()]
    return out


def withheld(result: Result, steps: list[int], *names: str) -> Result:
    """The result with figures of some steps withheld."""
    table: pd.DataFrame = result.steps.copy()
    table.loc[table["step"].isin(steps), list(names)] = np.nan
    return replace(result, steps=table)
