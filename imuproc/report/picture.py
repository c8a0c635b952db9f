"""The main picture of a run as PNG, for a message to the athlete."""

from math import ceil, sqrt
from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Wedge

from imuproc.files.text import clean
from imuproc.files.whole import replaced_file
from imuproc.report.pages import story
from imuproc.report.pages.legs import HEIGHT, WIDTH, Leg, legs
from imuproc.report.pages.rows import StepRow, step_rows
from imuproc.report.pages.svg import BAND, BAND_EDGE, INK, LEFT, PAPER, RIGHT, SOFT
from imuproc.report.pages.thinning import every_nth_pair, thinned
from imuproc.report.pages.view import RunView

_WIDTH_PX: Final = 1080
_PER_ROW: Final = 5
_MOST_ROWS: Final = 7  # with more steps the cells get smaller
_DPI: Final = 100
_LOOKS: Final = {"left": (LEFT, "solid"), "right": (RIGHT, (0, (2.2, 1.2)))}


def write_picture(path: Path, view: RunView) -> None:
    """Write shin and foot of every touchdown before slowing down, and what matters most.

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
    rows = [row for row in step_rows(shown) if row.phase != "slowing"]
    drawn = {leg.step: leg for leg in legs(shown)}
    across = max(_PER_ROW, ceil(sqrt(len(rows) * _PER_ROW / _MOST_ROWS)))
    lines = -(-len(rows) // across)
    cell = _WIDTH_PX / across
    height = 320.0 + lines * cell * 1.22
    with mpl.rc_context({"font.family": "DejaVu Sans", "lines.scale_dashes": True}):
        figure = Figure(figsize=(_WIDTH_PX / _DPI, height / _DPI), dpi=_DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.set_xlim(0.0, _WIDTH_PX)
        axes.set_ylim(height, 0.0)
        _head(axes, view)
        for at, row in enumerate(rows):
            corner = (at % across * cell, 250.0 + at // across * cell * 1.22)
            _cell(axes, corner, cell, (row, drawn[row.number]))
        _foot(axes, height)
        with replaced_file(path) as temporary:
            figure.savefig(temporary, format="png", metadata={"Software": None})


def _head(axes: Axes, view: RunView) -> None:
    run = view.summary
    when = clean(str(view.session.get("date") or ""))
    axes.text(40, 70, f"{clean(run.athlete)}   {clean(run.run)}", size=30, color=INK, weight="bold")
    start = dict(story.facts(view))["Start"]
    axes.text(40, 112, "   ".join(filter(None, [when, start])), size=18, color=SOFT)
    found = story.matters(view)
    if view.in_trouble():
        words = "Some of this run is in doubt: see the page"
    else:
        words = found[0].title if found else "Nothing surely off target"
    axes.text(40, 165, words, size=24, color=INK, weight="bold")
    nth = every_nth_pair(view)
    which = "step by step" if nth == 1 else f"one of every {nth} pairs of steps"
    words = f"Shin and foot at touchdown, {which}; running to the right"
    axes.text(40, 210, words, size=16, color=SOFT)


def _cell(axes: Axes, corner: tuple[float, float], size: float, what: tuple[StepRow, Leg]) -> None:
    row, leg = what
    colour, dashes = _LOOKS[row.side]
    scale = size / WIDTH
    thick = scale / 3.375  # of a line, against that in a cell of the usual size

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return corner[0] + point[0] * scale, corner[1] + point[1] * scale

    _wedge(axes, at(leg.ankle), leg, scale)
    x, y = zip(at((4.0, 60.0)), at((60.0, 60.0)), strict=True)
    axes.plot(x, y, color=SOFT, lw=1.5)
    filled = colour if row.side == "left" and leg.foot_known else PAPER
    sole = Polygon([at(point) for point in leg.foot], fc=filled, ec=colour, lw=3.0 * thick)
    axes.add_patch(sole)
    if leg.knee is not None:
        x, y = zip(at(leg.ankle), at(leg.knee), strict=True)
        axes.plot(x, y, color=colour, lw=6.0 * thick, ls=dashes)
    degree = "°" if row.shin.u else ""
    axes.text(*at((3.0, 9.0)), f"{row.number} {row.side[0].upper()}", size=16 * thick, color=SOFT)
    words = f"{row.shin.value}{degree} {row.shin.sign}"
    axes.text(*at((WIDTH / 2.0, HEIGHT + 8.0)), words, size=20 * thick, color=INK, ha="center")


def _wedge(axes: Axes, ankle: tuple[float, float], leg: Leg, scale: float) -> None:
    if leg.band_deg is None:
        return
    low, high = np.clip(leg.band_deg, 0.0, 180.0)
    # The upright axis points down, so angles are counted the other way round.
    wedge = Wedge(ankle, 38.0 * scale, -high, -low, fc=BAND, ec=BAND_EDGE, lw=1.0)
    axes.add_patch(wedge)


def _foot(axes: Axes, height: float) -> None:
    words = (
        "L: left, full line.  R: right, broken line.  Wedge: target.",
        "✓ on target   ▲ above   ▼ below   ~ too close to call.  90° is upright.",
    )
    for at, line in enumerate(words):
        axes.text(40, height - 52 + 30 * at, line, size=14, color=SOFT)
