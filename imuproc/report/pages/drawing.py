"""Axes of a chart as SVG written straight away: scales, ticks and shapes.

A chart of a page is a few dozen shapes; building a figure object of a plotting library for each
takes many times longer than the shapes themselves. Colours are variables of the style sheet, so
that dark mode and paper have their own; equal data gives equal bytes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import ceil, floor, log10
from typing import Final

import numpy as np
from markupsafe import escape
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FONT_PX: Final = 14.0
"""On a phone a chart is shrunk to nine tenths: no text gets smaller than 12 px."""
_TICK_PX: Final = 4.0


@dataclass
class Canvas:
    """An SVG drawing with one pair of axes at a time.

    Parameters
    ----------
    width_px, height_px : float
    left_px, top_px, right_px, bottom_px : float
        Edges of the axes within the drawing.
    x_from, x_to, y_from, y_to : float
        What the edges stand for.
    """

    width_px: float
    height_px: float
    left_px: float
    top_px: float
    right_px: float
    bottom_px: float
    x_from: float
    x_to: float
    y_from: float
    y_to: float
    shapes: list[str] = field(default_factory=list)

    def scale_x(self, values: ArrayLike) -> FloatArray:
        """Values along the axis in px."""
        share = (np.asarray(values, dtype=np.float64) - self.x_from) / (self.x_to - self.x_from)
        return np.asarray(self.left_px + share * (self.right_px - self.left_px))

    def scale_y(self, values: ArrayLike) -> FloatArray:
        """Values up the axis in px, which count downwards."""
        share = (np.asarray(values, dtype=np.float64) - self.y_from) / (self.y_to - self.y_from)
        return np.asarray(self.bottom_px - share * (self.bottom_px - self.top_px))

    def add(self, shape: str) -> None:
        """Put a shape on top of those that are there."""
        self.shapes.append(shape)

    def add_box(self, x: Sequence[float], y: Sequence[float], look: str) -> None:
        """A box between two values along each axis."""
        self.add(f'<path d="{box_path(self.scale_x(x), self.scale_y(y))}" {look}/>')

    def add_text(self, x_px: float, y_px: float, words: object, look: str = "") -> None:
        """Words at a place in px."""
        self.add(f'<text x="{x_px:.1f}" y="{y_px:.1f}"{look and " " + look}>{escape(words)}</text>')

    def add_x_axis(self, ticks: Iterable[float], label: str) -> None:
        """The lower edge with its ticks, numbers and label."""
        ticks = [tick for tick in ticks if self.x_from <= tick <= self.x_to]
        marks = "".join(
            f"M{px:.1f} {self.bottom_px:.1f}v{_TICK_PX:g}" for px in self.scale_x(ticks)
        )
        edge = f"M{self.left_px:.1f} {self.bottom_px:.1f}H{self.right_px:.1f}"
        self.add(f'<path class="axis" d="{edge}{marks}"/>')
        for tick, px in zip(ticks, self.scale_x(ticks), strict=True):
            self.add_text(px, self.bottom_px + 18.0, f"{tick:g}", 'class="mid"')
        if label:
            middle = 0.5 * (self.left_px + self.right_px)
            self.add_text(middle, self.bottom_px + 36.0, label, 'class="mid"')

    def add_y_axis(self, ticks: Iterable[float]) -> None:
        """Numbers at the left edge, and a line across at each."""
        ticks = [tick for tick in ticks if self.y_from <= tick <= self.y_to]
        across = "".join(
            f"M{self.left_px:.1f} {py:.1f}H{self.right_px:.1f}" for py in self.scale_y(ticks)
        )
        self.add(f'<path class="grid" d="{across}"/>')
        for tick, py in zip(ticks, self.scale_y(ticks), strict=True):
            shown = f"{tick:g}".replace("-", "\u2212")
            self.add_text(self.left_px - 6.0, py + 5.0, shown, 'class="end"')

    def to_svg(self) -> str:
        """The ``<svg>`` element, to be put into a page that names and describes it."""
        shapes = "\n".join(self.shapes)
        return (
            f'<svg viewBox="0 0 {self.width_px:g} '
            f'{self.height_px:g}" font-size="{FONT_PX:g}" aria-hidden="true" focusable="false">\n'
            f"{shapes}\n</svg>"
        )


def of_step(part: str, step: int, shape: str) -> str:
    """A shape as a part of a step, so that the page's script can mark it."""
    return f'<g class="of-step {part}" data-step="{step}">{shape}</g>'


def line_path(x_px: FloatArray, y_px: FloatArray) -> str:
    """Path through points in px."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in zip(x_px, y_px, strict=True))


def box_path(x_px: FloatArray, y_px: FloatArray) -> str:
    """Path of a box between two places along each axis in px."""
    x, y = np.sort(x_px), np.sort(y_px)
    return f"M{x[0]:.1f} {y[0]:.1f}H{x[1]:.1f}V{y[1]:.1f}H{x[0]:.1f}Z"


def find_ticks(low: float, high: float, most: int, whole: bool = False) -> list[float]:
    """Round numbers from low to high, at most so many: steps of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    low, high : float
    most : int
    whole : bool
        Whole numbers only.
    """
    least = max((high - low) / most, 1e-9)
    power = 10.0 ** floor(log10(least))
    step = next(power * of for of in (1.0, 2.0, 5.0, 10.0) if power * of >= least * (1.0 - 1e-9))
    if whole:
        step = max(1.0, step)
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [round(k * step, 10) for k in range(first, last + 1)]
