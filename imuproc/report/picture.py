"""The picture of a run, for a message to the athlete: the main point and the steps it is about."""

import textwrap
from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle, Wedge
from matplotlib.ticker import MaxNLocator

from imuproc.assessment.verdicts import ABOVE, BELOW
from imuproc.core.columns import uncertainty_name
from imuproc.files.text import clean_text
from imuproc.files.whole import replace_file
from imuproc.plots.looks import COVERAGE
from imuproc.report.pages import story
from imuproc.report.pages.labels import Label, label_of
from imuproc.report.pages.legs import HEIGHT, WIDTH, Leg, legs
from imuproc.report.pages.rows import StepRow, step_rows
from imuproc.report.pages.svg import BAND, BAND_EDGE, FAINT, INK, LEFT, PAPER, RIGHT, SOFT
from imuproc.report.pages.thinning import every_nth_pair, thinned
from imuproc.report.pages.view import RunView

_WIDTH_PX: Final = 1080
_HEIGHT_PX: Final = 1560
_DPI: Final = 100
_MARGIN_PX: Final = 48.0
_LEGS: Final = 12
"""Steps whose shin and foot are drawn: two rows of six."""
_ACROSS: Final = 6
_PICK: Final = "#f0c400"
_SMALL_PT: Final = 19.0
"""No text is smaller: on a phone a picture of 1080 px is shown at about a third."""
_TEXT_PT: Final = 23.0
_LINE_LETTERS: Final = 56
_LOOKS: Final = {"left": (LEFT, "solid"), "right": (RIGHT, (0, (2.2, 1.2)))}


def write_picture(path: Path, view: RunView) -> None:
    """Write the main point of a run, its figure by step, and shin and foot of the first steps.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole.
    view : RunView
        With at least one step.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    shown = thinned(view)
    with mpl.rc_context({"font.family": "DejaVu Sans", "lines.scale_dashes": True}):
        size = (_WIDTH_PX / _DPI, _HEIGHT_PX / _DPI)
        figure = Figure(figsize=size, dpi=_DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.set_xlim(0.0, _WIDTH_PX)
        axes.set_ylim(_HEIGHT_PX, 0.0)
        below = _write_head(axes, view)
        below = _draw_figure(figure, shown, below)
        _draw_legs(axes, view, shown, below)
        _write_foot(axes)
        with replace_file(path) as temporary:
            options = {"compress_level": 3}
            figure.savefig(temporary, format="png", metadata={"Software": None}, pil_kwargs=options)


def _write_head(axes: Axes, view: RunView) -> float:
    """Who, when, the main point and what to try; where the next thing begins, in px."""
    run = view.summary
    axes.text(_MARGIN_PX, 78, clean_text(run.athlete), size=38, color=INK, weight="bold")
    about = f"run {clean_text(run.run)}   {story.brief_facts(view)}"
    axes.text(_MARGIN_PX, 122, about[:64], size=_SMALL_PT, color=SOFT)
    found = story.matters(view)
    if view.in_trouble():
        title, lines = "Some of this run is in doubt", ["See the page of the run first."]
    elif not found:
        title, lines = "Nothing stood out", ["No fault that is sure and large enough."]
    else:
        point = found[0]
        title = point.title
        lines = [point.size, *filter(None, [point.seen])]
        lines += textwrap.wrap(f"Try: {point.try_this}", _LINE_LETTERS)
    at = 204.0
    for line in textwrap.wrap(title, 34):
        axes.text(_MARGIN_PX, at, line, size=35, color=INK, weight="bold")
        at += 58.0
    for row, line in enumerate(lines):
        weight = "bold" if row == 0 and found else "normal"
        axes.text(_MARGIN_PX, at, line, size=_TEXT_PT, color=INK, weight=weight)
        at += 42.0
    return at


def _draw_figure(figure: Figure, view: RunView, top_px: float) -> float:
    """The figure that the main point is about, by step; where the next thing begins, in px."""
    name = view.cues[0].figure if view.cues else "shin_angle_touchdown_deg"
    label = label_of(name)
    effort = view.steps[view.steps["phase"] != "slowing"]
    value = effort[name].to_numpy(dtype=np.float64) * label.factor
    if not np.isfinite(value).any():
        return top_px
    height, left = 470.0, 118.0
    place = (left / _WIDTH_PX, 1.0 - (top_px + height) / _HEIGHT_PX)
    box = (*place, 1.0 - (left + _MARGIN_PX) / _WIDTH_PX, (height - 64.0) / _HEIGHT_PX)
    axes = figure.add_axes(box, facecolor=PAPER)
    half = COVERAGE * effort[uncertainty_name(name)].to_numpy(dtype=np.float64) * label.factor
    number = effort["step"].to_numpy(dtype=np.int64)
    _draw_band(axes, view, label, (value, half))
    is_left = (effort["side"] == "left").to_numpy(dtype=np.bool_)
    marked = np.isin(number, view.cues[0].steps if view.cues else ())
    for colour, which, marker in ((LEFT, is_left, "o"), (RIGHT, ~is_left, "s")):
        axes.errorbar(
            number[which], value[which], half[which],
            fmt=marker, color=colour, ms=13, mew=3, lw=3, mfc=colour if marker == "o" else PAPER,
        )  # fmt: skip
    axes.scatter(number[marked], value[marked], s=620, fc="none", ec=INK, lw=3, zorder=3)
    axes.set_title(
        f"{label.name.capitalize()} by step ({label.unit})", size=_TEXT_PT, color=INK, loc="left"
    )
    axes.tick_params(labelsize=_SMALL_PT, colors=SOFT)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=9))
    axes.grid(axis="y", color=FAINT)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    return top_px + height + 92.0


def _draw_band(
    axes: Axes, view: RunView, label: Label, drawn: tuple[np.ndarray, np.ndarray]
) -> None:
    """Each step's target as a box with its ends; steps surely off are marked behind."""
    value, half = drawn
    rows = view.verdicts[view.verdicts["figure"] == label.figure]
    ends = rows[["low", "high"]].to_numpy(dtype=np.float64) * label.factor
    every = np.concatenate([value - half, value + half, ends.ravel()])
    every = every[np.isfinite(every)]
    room = 0.08 * max(float(np.ptp(every)), 1e-3)
    bottom, top = float(every.min()) - room, float(every.max()) + room
    axes.set_ylim(bottom, top)
    step = rows["step"].to_numpy(dtype=np.float64)
    off = np.isin(rows["verdict"].to_numpy(dtype=str), (ABOVE, BELOW))
    everywhere = np.broadcast_to([bottom, top], (int(off.sum()), 2))
    inside = np.clip(ends, bottom, top)
    for at, edges, colour, alpha in ((step[off], everywhere, _PICK, 0.45), (step, inside, BAND, 1)):
        boxes = [
            [(n - 0.5, low), (n + 0.5, low), (n + 0.5, high), (n - 0.5, high)]
            for n, (low, high) in zip(at, edges, strict=True)
        ]
        axes.add_collection(PolyCollection(boxes, fc=colour, ec="none", alpha=alpha), autolim=False)
    lines = [
        [(n - 0.5, end), (n + 0.5, end)]
        for n, both in zip(step, ends, strict=True)
        for end in both
        if np.isfinite(end)
    ]
    axes.add_collection(LineCollection(lines, colors=BAND_EDGE, linewidths=3), autolim=False)


def _draw_legs(axes: Axes, view: RunView, shown: RunView, top_px: float) -> None:
    """Shin and foot at the first touchdowns, as far as there is room."""
    rows = [row for row in step_rows(shown) if row.phase != "slowing"][:_LEGS]
    drawn = {leg.step: leg for leg in legs(shown)}
    nth = every_nth_pair(view)
    which = f"first {len(rows)} steps" if nth == 1 else f"one of every {nth} pairs of steps"
    words = f"Shin and foot at touchdown, {which}"
    axes.text(_MARGIN_PX, top_px, words, size=_TEXT_PT, color=INK)
    cell = (_WIDTH_PX - 2.0 * _MARGIN_PX) / _ACROSS
    high = min(1.24 * cell, (_HEIGHT_PX - 130.0 - top_px) / 2.0)
    wide = high / 1.24
    for at, row in enumerate(rows):
        corner = (
            _MARGIN_PX + at % _ACROSS * cell + 0.5 * (cell - wide),
            top_px + 16.0 + at // _ACROSS * high,
        )
        _draw_leg(axes, corner, wide, row, drawn[row.number])


def _draw_leg(axes: Axes, corner: tuple[float, float], size: float, row: StepRow, leg: Leg) -> None:
    colour, dashes = _LOOKS[row.side]
    scale = size / WIDTH
    thick = scale / 3.375  # of a line, against that in a cell of the usual size

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return corner[0] + point[0] * scale, corner[1] + point[1] * scale

    _draw_wedge(axes, at(leg.ankle), leg, scale)
    x, y = zip(at((4.0, 60.0)), at((60.0, 60.0)), strict=True)
    axes.add_artist(Line2D(x, y, color=SOFT, lw=1.5))
    filled = colour if row.side == "left" and leg.foot_known else PAPER
    sole = Polygon([at(point) for point in leg.foot], fc=filled, ec=colour, lw=3.0 * thick)
    axes.add_artist(sole)
    if leg.knee is not None:
        x, y = zip(at(leg.ankle), at(leg.knee), strict=True)
        axes.add_artist(Line2D(x, y, color=colour, lw=6.0 * thick, ls=dashes))
    if row.shin.off:
        box = Rectangle(at((1.0, 1.0)), 62.0 * scale, 76.0 * scale, fc=_PICK, alpha=0.45, zorder=0)
        axes.add_artist(box)
    degree = "°" if row.shin.u else ""
    axes.text(*at((3.0, 10.0)), f"{row.number} {row.side[0].upper()}", size=_SMALL_PT, color=SOFT)
    words = f"{row.shin.value}{degree} {row.shin.off or row.shin.sign}"
    axes.text(*at((WIDTH / 2.0, HEIGHT + 9.0)), words, size=_SMALL_PT, color=INK, ha="center")


def _draw_wedge(axes: Axes, ankle: tuple[float, float], leg: Leg, scale: float) -> None:
    if leg.band_deg is None:
        return
    low, high = np.clip(leg.band_deg, 0.0, 180.0)
    # The upright axis points down, so angles are counted the other way round.
    wedge = Wedge(ankle, 38.0 * scale, -high, -low, fc=BAND, ec=BAND_EDGE, lw=1.0)
    axes.add_artist(wedge)


def _write_foot(axes: Axes) -> None:
    lines = (
        "L left, solid.  R right, dashed.  Green: target.  ✓ on target  ~ too close to call",
        "Coaching practice, not advice on health. Stop on pain.",
    )
    for row, line in enumerate(lines):
        axes.text(_MARGIN_PX, _HEIGHT_PX - 60 + 36 * row, line, size=_SMALL_PT - 1.0, color=SOFT)
