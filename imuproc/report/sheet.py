"""A sheet to draw on that becomes a PNG file: boxes, lines, discs, wedges, words."""

from collections.abc import Sequence
from functools import cache
from importlib.util import find_spec
from math import hypot
from pathlib import Path
from typing import Final

from PIL import Image, ImageDraw, ImageFont

Point = tuple[float, float]

_FINER: Final = 2
"""Drawn so many times larger and made smaller at the end, so that edges are smooth."""


@cache
def _find_font(size_px: int, bold: bool) -> ImageFont.FreeTypeFont:
    """DejaVu Sans, as matplotlib brings it along; matplotlib itself is not loaded."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError(
            "matplotlib, whose fonts pictures are written in, is not installed"
        )
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(folder / name), size_px)


class Sheet:
    """A sheet of so many px; x to the right, y down.

    Parameters
    ----------
    width_px, height_px : int
    colour : str
    """

    def __init__(self, width_px: int, height_px: int, colour: str) -> None:
        self._size = (width_px, height_px)
        self._image = Image.new("RGB", (width_px * _FINER, height_px * _FINER), colour)
        self._draw = ImageDraw.Draw(self._image)

    def draw_text(
        self, x: float, y: float, words: str, size_px: float, colour: str,
        bold: bool = False, anchor: str = "ls",
    ) -> None:  # fmt: skip
        """Words from a point on their base line on; ``anchor`` as Pillow names it."""
        font = _find_font(round(size_px * _FINER), bold)
        self._draw.text((x * _FINER, y * _FINER), words, fill=colour, font=font, anchor=anchor)

    def draw_box(
        self, first: Point, second: Point, fill: str, edge: str | None = None, width: float = 0.0
    ) -> None:
        """A box between two corners."""
        (left, top), (right, bottom) = self._to_fine(first), self._to_fine(second)
        corners = (left, top, max(left, right), max(top, bottom))
        self._draw.rectangle(corners, fill, edge, round(width * _FINER))

    def draw_line(
        self, points: Sequence[Point], colour: str, width: float, dash: Sequence[float] = ()
    ) -> None:
        """A line through points; ``dash`` is how long it is drawn and left out in turn."""
        for part in _cut_to_dashes(points[0], points[-1], dash) if dash else [points]:
            fine = [self._to_fine(point) for point in part]
            self._draw.line(fine, colour, max(round(width * _FINER), 1), "curve")

    def draw_disc(self, centre: Point, radius: float, colour: str) -> None:
        """A full disc."""
        self._draw.circle(self._to_fine(centre), radius * _FINER, colour)

    def draw_ring(self, centre: Point, radius: float, colour: str, width: float) -> None:
        """An open circle."""
        self._draw.circle(
            self._to_fine(centre), radius * _FINER, None, colour, round(width * _FINER)
        )

    def draw_wedge(
        self, centre: Point, radius: float, low_deg: float, high_deg: float, fill: str, edge: str
    ) -> None:
        """A part of a disc between two angles that count upwards from the right."""
        x, y = self._to_fine(centre)
        reach = radius * _FINER
        corners = (x - reach, y - reach, x + reach, y + reach)
        self._draw.pieslice(corners, -high_deg, -low_deg, fill, edge, 2 * _FINER)

    def draw_shape(self, points: Sequence[Point], fill: str, edge: str, width: float) -> None:
        """A closed outline."""
        fine = [self._to_fine(point) for point in points]
        self._draw.polygon(fine, fill)
        self._draw.line([*fine, fine[0], fine[1]], edge, max(round(width * _FINER), 1), "curve")

    def save(self, path: Path) -> None:
        """Write the sheet as PNG.

        Raises
        ------
        OSError
            The file cannot be written.
        """
        small = self._image.reduce(_FINER)
        small.save(path, format="PNG", compress_level=3)

    def _to_fine(self, point: Point) -> Point:
        return float(point[0]) * _FINER, float(point[1]) * _FINER


def _cut_to_dashes(start: Point, end: Point, dash: Sequence[float]) -> list[list[Point]]:
    """Pieces of a straight line that are drawn."""
    length = hypot(end[0] - start[0], end[1] - start[1])
    drawn, left_out = dash

    def interpolate_at(far: float) -> Point:
        share = min(far / length, 1.0)
        return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])

    count = int(length // (drawn + left_out)) + 1 if length > 0.0 else 0
    begins = [k * (drawn + left_out) for k in range(count)]
    return [[interpolate_at(at), interpolate_at(at + drawn)] for at in begins if at < length]
