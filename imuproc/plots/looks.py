"""How plots look: colours, markers, words at the axes.

Colours differ in lightness as well, so that the colour-blind tell them apart, and sides differ in
marker, fill or line too.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import BY_NAME

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = NDArray[np.float64]

INK: Final = "#1b1b2a"
SOFT: Final = "#5c5c6b"
FAINT: Final = "#d3d3db"
PAPER: Final = "#fefefd"
LEFT: Final = "#0072b1"
RIGHT: Final = "#c25500"
GREEN: Final = "#00795b"
PURPLE: Final = "#c070b8"
BAND: Final = "#cde9df"
"""Where a figure should lie; its ends are green."""

SIDE_COLOURS: Final = {"left": LEFT, "right": RIGHT}
SIDE_FILLS: Final = {"left": LEFT, "right": PAPER}
SIDE_LINES: Final[dict[str, Any]] = {"left": "solid", "right": (0, (4, 2))}
SIDE_MARKERS: Final = {"left": "o", "right": "s"}

COVERAGE: Final = 2.0
"""Bars and bands are twice the standard uncertainty: about 95 %."""

_ENDINGS: Final = {
    " touchdown": " at touchdown",
    " toe off": " at toe-off",
    " swing min": ", least in late swing",
    " swing max": ", largest in late swing",
    " swing mean": ", mean of late swing",
}


@dataclass(frozen=True, eq=False)
class Points:
    """Values with their standard uncertainties along steps or distance, each of shape (n,)."""

    x: FloatArray
    value: FloatArray
    u: FloatArray

    def take(self, which: NDArray[Any]) -> "Points":
        """Those picked by a boolean mask or by indices."""
        return Points(self.x[which], self.value[which], self.u[which])


def axes_or_new(axes: "Axes | None") -> "Axes":
    """The axes given, or those of a new figure; only for the latter pyplot is loaded."""
    if axes is not None:
        return axes
    import matplotlib.pyplot as plt

    return plt.subplots(layout="constrained")[1]


def name_of(figure: str) -> str:
    """A figure of the step table at an axis: plain words and the unit."""
    name = figure.rsplit("_", 1)[0].replace("_", " ")
    for ending, words in _ENDINGS.items():
        if name.endswith(ending):
            name = name.removesuffix(ending) + words
    return f"{name.capitalize()} ({BY_NAME[figure].unit})"


def draw_points(
    axes: "Axes", points: Points, marker: str, colour: str, fill: str, label: str = ""
) -> None:
    """Points with bars of ±2 standard uncertainties; gaps where there is no value."""
    bar = COVERAGE * points.u
    axes.errorbar(points.x, points.value, bar, fmt="none", ecolor=colour, zorder=2.0)
    style: dict[str, Any] = {"color": colour, "markerfacecolor": fill, "label": label or None}
    axes.plot(points.x, points.value, marker, markersize=5.0, zorder=2.1, **style)


def finish(axes: "Axes", title: str, x: str, y: str) -> "Axes":
    """Words, grid and key; the key stands above the axes, where it hides nothing."""
    axes.set_xlabel(x, color=INK)
    axes.set_ylabel(y, color=INK)
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=FAINT, linewidth=0.7)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(
        title=title,
        alignment="left",
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        ncols=3,
        frameon=False,
        fontsize="small",
        title_fontsize="small",
        handlelength=1.4,
        columnspacing=1.0,
        handletextpad=0.4,
    )
    return axes
