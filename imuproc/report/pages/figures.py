"""The figures of a run page that have axes: by step, through the swing, and along time."""

from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from imuproc.assessment.verdicts import ABOVE, BELOW
from imuproc.core.columns import uncertainty_name
from imuproc.plots.looks import COVERAGE, SIDE_COLOURS, SIDE_LINES
from imuproc.report.pages.labels import label_of
from imuproc.report.pages.svg import (
    BAND,
    BAND_EDGE,
    FAINT,
    INK,
    LEFT,
    PAPER,
    RIGHT,
    SOFT,
    axes_in,
    drawing,
    new_figure,
    of_step,
    svg_text,
)
from imuproc.report.pages.view import RunView

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
WIDTH_PX: Final = 360.0  # a phone's: on wider screens figures stand beside each other
JUDGED_FROM: Final = 0.6  # of the swing: the mean that is judged is over the rest

_STRIP_PX: Final = 118.0  # height of a line of the time strip
_TICKS_PX: Final = 20.0  # of it for the numbers under a line that is not the last
_MOST_IN_LINE: Final = 16

_ROWS: Final = {"left": 2.0, "air": 1.0, "right": 0.0}


def by_step(view: RunView, figure: str) -> str:
    """A figure by step as SVG: target band, value, 95 % bars, marks where surely off target."""
    label = label_of(figure)
    with drawing(figure):
        made = new_figure(WIDTH_PX, 250.0)
        axes = axes_in(made, (54.0, 34.0, 12.0, 18.0))
        value = view.steps[figure].to_numpy(dtype=np.float64) * label.factor
        bar = view.steps[uncertainty_name(figure)].to_numpy(dtype=np.float64) * label.factor
        bar = COVERAGE * np.nan_to_num(bar)
        number = view.steps["step"].to_numpy(dtype=np.int64)
        band = _band(view, figure, label.factor)
        axes.set_ylim(*_limits(value, bar, band))
        axes.set_xlim(number.min() - 0.8, number.max() + 0.8)
        _draw_band(axes, band)
        _phases(axes, view.steps)
        left = (view.steps["side"] == "left").to_numpy(dtype=np.bool_)
        for colour, which in ((LEFT, left), (RIGHT, ~left)):
            which = which & np.isfinite(value)
            _upright(
                axes, (number[which], value[which] - bar[which], value[which] + bar[which]), colour
            )
        verdict = _verdict_of(view, figure)
        for step, is_left, at, half in zip(number, left, value, bar, strict=True):
            _column(axes, int(step))
            if np.isfinite(at):
                _point(axes, int(step), bool(is_left), float(at))
                _off_mark(axes, int(step), (float(at), float(half)), verdict.get(int(step), ""))
        axes.set_xlabel("step")
        axes.set_ylabel(f"{label.name} ({label.unit})")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=9))
        return svg_text(made)


def _band(view: RunView, figure: str, factor: float) -> FloatArray:
    """Rows ``step, low, high`` of the steps that have a band, shape (m, 3), shown unit."""
    rows = view.verdicts[view.verdicts["figure"] == figure]
    table = rows[["step", "low", "high"]].to_numpy(dtype=np.float64)
    scaled: FloatArray = table * np.array([1.0, factor, factor])
    return scaled


def _limits(value: FloatArray, bar: FloatArray, band: FloatArray) -> tuple[float, float]:
    """Ends of the upright axis: all values, bars and finite ends of bands."""
    ends = np.concatenate([value - bar, value + bar, band[:, 1:].ravel()])
    ends = ends[np.isfinite(ends)]
    if not len(ends):
        return 0.0, 1.0
    room = 0.08 * max(float(np.ptp(ends)), 1e-3)
    return float(ends.min()) - room, float(ends.max()) + room


def _draw_band(axes: Axes, band: FloatArray) -> None:
    """Each step's target as a box, and a line at each end that there is."""
    low, high = axes.get_ylim()
    number = band[:, 0]
    bottom, top = np.maximum(band[:, 1], low), np.minimum(band[:, 2], high)
    boxes = [
        [(n - 0.5, b), (n + 0.5, b), (n + 0.5, t), (n - 0.5, t)]
        for n, b, t in zip(number, bottom, top, strict=True)
    ]
    axes.add_collection(
        PolyCollection(boxes, facecolors=BAND, edgecolors=BAND, linewidths=0.6), autolim=False
    )
    ends = [
        [(n - 0.5, end), (n + 0.5, end)] for n, *both in band for end in both if np.isfinite(end)
    ]
    lines = LineCollection(ends, colors=BAND_EDGE, linewidths=1.0)
    axes.add_collection(lines, autolim=False)


def _upright(
    axes: Axes, bars: tuple[NDArray[np.int64], FloatArray, FloatArray], colour: str
) -> None:
    ends = [[(n, low), (n, high)] for n, low, high in zip(*bars, strict=True) if high > low]
    lines = LineCollection(ends, colors=colour, linewidths=1.3, zorder=2.1)
    axes.add_collection(lines, autolim=False)


def _phases(axes: Axes, steps: "pd.DataFrame") -> None:
    """A line where a phase begins, and its name on top where there is room for it."""
    number, phase = steps["step"].to_numpy(dtype=np.int64), steps["phase"].to_numpy()
    starts = np.flatnonzero(np.r_[True, phase[1:] != phase[:-1]])
    ends = np.r_[starts[1:], len(phase)]
    span = number.max() - number.min() + 1.6
    for begin, end in zip(starts, ends, strict=True):
        at = number[begin] - 0.5
        if begin:
            axes.axvline(at, color=SOFT, lw=0.7, ls=(0, (1, 2)))
        if (end - begin) / span * WIDTH_PX > 6.5 * len(phase[begin]):
            top = axes.get_xaxis_transform()
            axes.text(at + 0.15, 1.01, phase[begin], transform=top, color=SOFT, va="bottom")


def _column(axes: Axes, step: int) -> None:
    """A column over the whole height that shows which step is picked."""
    low, high = axes.get_ylim()
    column = Rectangle((step - 0.5, low), 1.0, high - low, fc=INK, lw=0, alpha=0.0)
    of_step(column, "column", step)
    axes.add_artist(column)


def _point(axes: Axes, step: int, left: bool, at: float) -> None:
    colour = LEFT if left else RIGHT
    point = Line2D(
        [step],
        [at],
        marker="o" if left else "s",
        markersize=6.0,
        markerfacecolor=colour if left else PAPER,
        markeredgecolor=colour,
        markeredgewidth=1.4,
        linestyle="none",
        zorder=2.2,
    )
    of_step(point, "point", step)
    axes.add_artist(point)


def _off_mark(axes: Axes, step: int, value: tuple[float, float], verdict: str) -> None:
    """An arrow head beyond the bar of a step that is surely off target."""
    if verdict not in (ABOVE, BELOW):
        return
    at, half = value
    up = verdict == ABOVE
    axes.annotate(
        "▲" if up else "▼",
        (step, at + half if up else at - half),
        xytext=(0, 5 if up else -5),
        textcoords="offset points",
        ha="center",
        va="bottom" if up else "top",
        color=INK,
        fontsize=8,
    )


def _verdict_of(view: RunView, figure: str) -> dict[int, str]:
    rows = view.verdicts[view.verdicts["figure"] == figure]
    return {int(s): str(v) for s, v in zip(rows["step"], rows["verdict"], strict=True)}


def through_swing(view: RunView, name: str, axis: str) -> str:
    """An angle through every swing as SVG; the part over which the toe is judged is shaded."""
    with drawing(name):
        made = new_figure(WIDTH_PX, 250.0)
        axes = axes_in(made, (54.0, 34.0, 12.0, 18.0))
        axes.set_xlim(0.0, 100.0)
        curves = view.curves[name]
        angles = np.concatenate([curve.angle_deg for curve in curves])
        axes.set_ylim(*_limits(np.append(angles, 0.0), np.zeros(1), np.empty((0, 3))))
        if name == "dorsiflexion":
            axes.axvspan(100.0 * JUDGED_FROM, 100.0, fc=BAND, lw=0)
        axes.axhline(0.0, color=SOFT, lw=0.9)
        for curve in curves:
            line = Line2D(
                100.0 * curve.share,
                curve.angle_deg,
                color=SIDE_COLOURS[curve.side],
                linestyle=SIDE_LINES[curve.side],
                linewidth=1.1,
            )
            of_step(line, "curve", curve.step)
            axes.add_artist(line)
        axes.set_xlabel("share of the swing (%): toe-off to touchdown")
        axes.set_ylabel(f"{axis} (°)")
        return svg_text(made)


def time_strip(view: RunView) -> str:
    """Contacts of both feet along time as SVG, flights between them; a long run in two lines."""
    steps = view.steps[["step", "side", "touchdown_s", "toe_off_s", "flight_time_s"]]
    steps = steps[np.isfinite(steps["touchdown_s"]) & np.isfinite(steps["toe_off_s"])]
    zero = float(steps["touchdown_s"].min())
    lines = 2 if len(steps) > _MOST_IN_LINE else 1
    per_line = -(-len(steps) // lines)
    with drawing("strip"):
        height = _STRIP_PX * lines + 34.0
        made = new_figure(WIDTH_PX, height)
        for line in range(lines):
            part = steps.iloc[line * per_line : (line + 1) * per_line]
            above = line * _STRIP_PX
            below = height - above - _STRIP_PX + _TICKS_PX * (line + 1 < lines)
            axes = axes_in(made, (54.0, below, 12.0, above), grid=False)
            _strip_line(axes, part, zero)
        axes.set_xlabel("seconds after the first touchdown")
        return svg_text(made)


def _strip_line(axes: Axes, steps: "pd.DataFrame", zero: float) -> None:
    first, last = steps["touchdown_s"].min() - zero, steps["toe_off_s"].max() - zero
    room = 0.02 * (last - first)
    axes.set_xlim(first - room, last + room)
    axes.set_ylim(-0.95, 2.95)
    for step, side, down, off, flight in steps.itertuples(index=False):
        _bar(axes, (down - zero, off - down), (int(step), side == "left"))
        if np.isfinite(flight) and flight > 0.0:
            at = (off - zero, _ROWS["air"] - 0.12)
            axes.add_artist(Rectangle(at, flight, 0.24, fc=FAINT, ec=SOFT, lw=0.6))
    axes.set_yticks([_ROWS["left"], _ROWS["air"], _ROWS["right"]], ["left", "in the air", "right"])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)


def _bar(axes: Axes, when: tuple[float, float], step: tuple[int, bool]) -> None:
    """One contact as a bar, its number above it (left) or below it (right)."""
    start, length = when
    number, left = step
    row, colour = (_ROWS["left"], LEFT) if left else (_ROWS["right"], RIGHT)
    bar = Rectangle(
        (start, row - 0.36), length, 0.72, fc=colour if left else PAPER, ec=colour, lw=1.4
    )
    of_step(bar, "bar", number)
    axes.add_artist(bar)
    at = (start + 0.5 * length, row + (0.42 if left else -0.42))
    axes.text(*at, str(number), color=SOFT, size=9, ha="center", va="bottom" if left else "top")
