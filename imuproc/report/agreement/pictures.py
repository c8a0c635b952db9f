"""Pictures of agreement: difference against mean, and error by step number."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from imuproc.report.agreement.quantities import Quantity, quantity_of
from imuproc.report.pages.svg import (
    BAND,
    BAND_EDGE,
    INK,
    LEFT,
    PAPER,
    RIGHT,
    SOFT,
    axes_in,
    new_figure,
)

FloatArray = NDArray[np.float64]

WIDTH_PX: Final = 400.0
HEIGHT_PX: Final = 270.0
_MARKERS: Final = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p", "*", "h")
_COLOURS: Final = (LEFT, RIGHT, INK, BAND_EDGE)
_ROOM: Final = 0.10
MOST_VECTORS: Final = 1500
"""Of more points than this a page gets a raster: it would be slow to open."""


def looks_of(athletes: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Marker and colour of each athlete; after twelve the shapes come again in another colour."""
    out = {}
    for number, athlete in enumerate(sorted(set(athletes))):
        turn = number // len(_MARKERS)
        colour = _COLOURS[(number + turn) % len(_COLOURS)]
        out[athlete] = (_MARKERS[number % len(_MARKERS)], colour)
    return out


def difference_picture(paired: pd.DataFrame, row: Mapping[str, Any]) -> Figure:
    """Difference against mean, with bias, limits and their intervals.

    Parameters
    ----------
    paired : DataFrame
        Pairs of one figure.
    row : mapping
        Its row of the agreement table over all steps.

    Returns
    -------
    Figure
        Left feet filled, right feet open, a marker for each athlete.
    """
    q = quantity_of(str(row["figure"]))
    legend = _legend_lines(paired)
    made = new_figure(WIDTH_PX, HEIGHT_PX + 15.0 * legend)
    axes = axes_in(made, (52.0, 40.0 + 15.0 * legend, 76.0, 12.0))
    mean = 0.5 * (paired["table"] + paired["reference"]).to_numpy(dtype=np.float64) * q.factor
    difference = paired["difference"].to_numpy(dtype=np.float64) * q.factor
    if np.isfinite(row["bias"]):
        _draw_lines(axes, q, row)
    else:
        axes.axhline(0.0, color=SOFT, lw=0.9)
    _draw_points(axes, paired, mean, difference)
    _draw_legend(made, paired)
    axes.set_xlim(*_find_ends(mean))
    known = [row[k] * q.factor for k in ("lower_low", "upper_high") if np.isfinite(row[k])]
    axes.set_ylim(*_find_ends(np.append(difference, known)))
    axes.set_xlabel(f"mean of both methods ({q.unit})")
    axes.set_ylabel(f"imuproc − reference ({q.unit})")
    return made


def _find_ends(values: FloatArray) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = _ROOM * max(high - low, 1e-6)
    return low - room, high + room


def _draw_lines(axes: Axes, q: Quantity, row: Mapping[str, Any]) -> None:
    """Bias and limits across, each over its interval, with their values at the right."""
    for name, ends, style in (
        ("upper", ("upper_low", "upper_high"), (0, (5, 3))),
        ("bias", ("bias_low", "bias_high"), "solid"),
        ("lower", ("lower_low", "lower_high"), (0, (5, 3))),
    ):
        at = row[name] * q.factor
        if not np.isfinite(at):
            continue
        low, high = (row[end] * q.factor for end in ends)
        if np.isfinite(low) and np.isfinite(high):
            axes.axhspan(low, high, fc=BAND, lw=0)
        axes.axhline(at, color=INK, lw=1.1, ls=style)
        words = "bias" if name == "bias" else f"{name} limit"
        axes.annotate(
            f"{words}\n{q.with_unit(row[name])}",
            (1.0, at),
            xycoords=("axes fraction", "data"),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            color=INK,
            annotation_clip=False,
        )
    axes.axhline(0.0, color=SOFT, lw=0.7, ls=(0, (1, 2)))


def _draw_points(axes: Axes, paired: pd.DataFrame, x: FloatArray, y: FloatArray) -> None:
    names, sides = paired["athlete"].astype(str).to_numpy(), paired["side"].to_numpy()
    for athlete, (marker, colour) in looks_of(list(names)).items():
        for side, face in (("left", colour), ("right", PAPER)):
            which = (names == athlete) & (sides == side)
            axes.plot(
                x[which],
                y[which],
                marker,
                ms=4.2,
                mfc=face,
                mec=colour,
                mew=0.9,
                alpha=0.85,
                rasterized=len(x) > MOST_VECTORS,
            )


_PER_LINE: Final = 4


def _legend_lines(paired: pd.DataFrame) -> int:
    return 1 + -(-paired["athlete"].nunique() // _PER_LINE)


def _draw_legend(made: Figure, paired: pd.DataFrame) -> None:
    handles = [
        Line2D([], [], ls="none", marker=marker, mfc=colour, mec=colour, ms=5, label=athlete)
        for athlete, (marker, colour) in looks_of(list(paired["athlete"].astype(str))).items()
    ]
    common: dict[str, Any] = {"loc": "lower left", "frameon": False, "handletextpad": 0.2}
    made.legend(
        handles=handles,
        ncols=_PER_LINE,
        bbox_to_anchor=(0.01, 14.0 / (made.get_size_inches()[1] * 72.0)),
        columnspacing=1.2,
        borderaxespad=0.0,
        **common,
    )
    made.text(0.02, 3.0 / (made.get_size_inches()[1] * 72.0), "filled: left, open: right; shaded: "
              "95 % intervals", color=SOFT)  # fmt: skip


def step_picture(paired: pd.DataFrame, figure: str) -> Figure:
    """Difference by step number: every step, and mean ± SD of each number.

    Parameters
    ----------
    paired : DataFrame
        Pairs of the figure.
    figure : str
    """
    q = quantity_of(figure)
    made = new_figure(WIDTH_PX, 250.0)
    axes = axes_in(made, (52.0, 52.0, 12.0, 12.0))
    step = paired["step"].to_numpy(dtype=np.int64)
    y = paired["difference"].to_numpy(dtype=np.float64) * q.factor
    left = (paired["side"] == "left").to_numpy(dtype=np.bool_)
    # A fixed spread over the column, by order: chance would give other bytes each time.
    place = step + 0.5 * ((np.arange(len(step)) % 7) / 6.0 - 0.5)
    for which, colour, face in ((left, LEFT, LEFT), (~left, RIGHT, PAPER)):
        shape = "o" if face != PAPER else "s"
        axes.plot(place[which], y[which], shape, ms=3.0, mfc=face, mec=colour, mew=0.8, alpha=0.7,
                  rasterized=len(y) > MOST_VECTORS)  # fmt: skip
    grouped = pd.Series(y).groupby(step)
    count, mean, sd = grouped.size(), grouped.mean(), grouped.std(ddof=1)
    many = (count >= 3).to_numpy()
    at = count.index.to_numpy()[many]
    axes.errorbar(
        at, mean[many], sd[many], fmt="_", ms=11, mew=2.0, color=INK, elinewidth=1.2, capsize=3
    )
    axes.axhline(0.0, color=SOFT, lw=0.8)
    axes.set_xlim(step.min() - 0.8, step.max() + 0.8)
    axes.set_ylim(*_find_ends(y))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=12))
    axes.set_xlabel("step")
    axes.set_ylabel(f"imuproc − reference ({q.unit})")
    made.text(
        0.02, 4.0 / 250.0, "● left   □ right   ┼ mean ± SD of three steps or more", color=SOFT
    )
    return made
