"""Figures of matplotlib as SVG that lives inside a page.

Colours become CSS variables, so that dark mode and paper have their own; parts of a step carry its
number, so that one script marks it in all figures; the same figure gives the same bytes.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any, Final

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from imuproc.plots.looks import BAND as BAND
from imuproc.plots.looks import FAINT as FAINT
from imuproc.plots.looks import GREEN
from imuproc.plots.looks import INK as INK
from imuproc.plots.looks import LEFT as LEFT
from imuproc.plots.looks import PAPER as PAPER
from imuproc.plots.looks import RIGHT as RIGHT
from imuproc.plots.looks import SOFT as SOFT

# Each colour stands for a variable of the style sheet; the numbers only tell them apart, and come
# near to what is seen in light mode, should the figure ever be looked at by itself.
BAND_EDGE: Final = GREEN

_VARIABLES: Final = {
    INK: "var(--ink)",
    SOFT: "var(--soft)",
    FAINT: "var(--faint)",
    PAPER: "var(--paper)",
    BAND: "var(--band)",
    BAND_EDGE: "var(--band-edge)",
    LEFT: "var(--left)",
    RIGHT: "var(--right)",
}
FONT_PX: Final = 10.5
_DPI: Final = 72  # one unit of the SVG is then one pixel

_STEP_ID: Final = re.compile(r'<g id="step_([a-z]+)_(\d+)">')
_ID: Final = re.compile(r' id="([^"]*)"')
_USED: Final = re.compile(r'(?:href="#|url\(#)([^")]+)')
_LONG_NUMBER: Final = re.compile(r"(?<=[ ,\"(\n])(-?\d+\.\d{2})\d+(?=[ ,\")\n])")


@contextmanager
def set_drawing(name: str) -> Iterator[None]:
    """Settings of matplotlib that give figures of our looks, and equal bytes for equal data."""
    settings: Any = {
        "svg.fonttype": "none",
        "svg.hashsalt": name,
        "path.simplify": False,
        "font.family": "DejaVu Sans",
        "font.size": FONT_PX,
        "text.color": INK,
        "axes.edgecolor": SOFT,
        "axes.labelcolor": INK,
        "axes.linewidth": 0.8,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.unicode_minus": True,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "grid.color": FAINT,
        "grid.linewidth": 0.7,
    }
    with mpl.rc_context(settings):
        yield


def new_figure(width_px: float, height_px: float) -> Figure:
    """An empty figure whose units are pixels."""
    return Figure(figsize=(width_px / _DPI, height_px / _DPI), dpi=_DPI)


def axes_in(
    figure: Figure, margins_px: tuple[float, float, float, float], grid: bool = True
) -> Axes:
    """Axes within fixed margins: to have them computed takes longer than the drawing itself.

    Parameters
    ----------
    figure : Figure
    margins_px : (float, float, float, float)
        Left, bottom, right, top.
    grid : bool
        Lines across at each tick of the upright axis.
    """
    width, height = figure.get_size_inches() * _DPI
    left, bottom, right, top = margins_px
    place = (left / width, bottom / height, 1 - (left + right) / width, 1 - (bottom + top) / height)
    axes = figure.add_axes(place)
    axes.set_axisbelow(True)
    if grid:
        axes.grid(axis="y")
    return axes


def of_step(artist: Artist, part: str, step: int) -> None:
    """Mark an artist as a part of a step: ``part`` is a class of the style sheet."""
    artist.set_gid(f"step_{part}_{step}")


def svg_text(figure: Figure) -> str:
    """The ``<svg>`` element of a figure, to be put into a page that names and describes it.

    Parameters
    ----------
    figure : Figure
        Made within :func:`set_drawing`.

    Returns
    -------
    str
        Without header, metadata, or ids that nothing refers to.
    """
    out = StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = text.replace("xlink:href", "href")  # as of SVG 2, which needs no prefix
    text = _STEP_ID.sub(r'<g class="of-step \1" data-step="\2">', text)
    used = set(_USED.findall(text))
    text = _ID.sub(lambda found: found[0] if found[1] in used else "", text)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, variable)
    text = re.sub(r"font: ([\d.]+)px [^;\"]*", r"font-size: \1px", text)
    text = _LONG_NUMBER.sub(r"\1", text)
    text = re.sub(r"\n\s*", "\n", text)
    return re.sub(
        r'<svg [^>]*viewBox="([^"]*)"[^>]*>',
        r'<svg viewBox="\1" aria-hidden="true" focusable="false">',
        text,
        count=1,
    )
