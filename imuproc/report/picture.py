"""The picture of a run, for a message to the athlete: the main point and the steps it is about."""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from imuproc.assessment.verdicts import ABOVE, BELOW
from imuproc.core.columns import uncertainty_name
from imuproc.files.text import clean_text
from imuproc.files.whole import replace_file
from imuproc.plots.looks import BAND, COVERAGE, FAINT, GREEN, INK, LEFT, PAPER, RIGHT, SOFT
from imuproc.report.pages import story
from imuproc.report.pages.drawing import Canvas, find_ticks
from imuproc.report.pages.labels import label_of
from imuproc.report.pages.legs import HEIGHT, WIDTH, Leg, draw_legs
from imuproc.report.pages.rows import StepRow, step_rows
from imuproc.report.pages.thinning import every_nth_pair, thin_steps
from imuproc.report.pages.view import RunView
from imuproc.report.sheet import Sheet

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

_WIDTH_PX: Final = 1080
_HEIGHT_PX: Final = 1560
_MARGIN_PX: Final = 48.0
_LEGS: Final = 12
"""Steps whose shin and foot are drawn: two rows of six."""
_ACROSS: Final = 6
_PICK: Final = "#f9e48a"
_SMALL_PX: Final = 27.0
"""No text is smaller: on a phone a picture of 1080 px is shown at about a third."""
_TEXT_PX: Final = 32.0
_LINE_LETTERS: Final = 56
_COLOURS: Final = {"left": LEFT, "right": RIGHT}


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
    shown = thin_steps(view)
    sheet = Sheet(_WIDTH_PX, _HEIGHT_PX, PAPER)
    below = _write_head(sheet, view)
    below = _draw_figure(sheet, shown, below)
    _draw_legs(sheet, view, shown, below)
    _write_foot(sheet)
    with replace_file(path) as temporary:
        sheet.save(temporary)


def _write_head(sheet: Sheet, view: RunView) -> float:
    """Who, when, the main point and what to try; where the next thing begins, in px."""
    run = view.summary
    sheet.draw_text(_MARGIN_PX, 78, clean_text(run.athlete), 53, INK, bold=True)
    about = f"run {clean_text(run.run)}   {story.brief_facts(view)}"
    sheet.draw_text(_MARGIN_PX, 122, about[:64], _SMALL_PX, SOFT)
    found = story.list_matters(view)
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
        sheet.draw_text(_MARGIN_PX, at, line, 48, INK, bold=True)
        at += 58.0
    for row, line in enumerate(lines):
        sheet.draw_text(_MARGIN_PX, at, line, _TEXT_PX, INK, bold=row == 0 and bool(found))
        at += 42.0
    return at


def _draw_figure(sheet: Sheet, view: RunView, top_px: float) -> float:
    """The figure that the main point is about, by step; where the next thing begins, in px."""
    name = view.cues[0].figure if view.cues else "shin_angle_touchdown_deg"
    label = label_of(name)
    effort = view.steps[view.steps["phase"] != "slowing"]
    value = effort[name].to_numpy(dtype=np.float64) * label.factor
    if not np.isfinite(value).any():
        return top_px
    half = COVERAGE * effort[uncertainty_name(name)].to_numpy(dtype=np.float64) * label.factor
    rows = view.verdicts[view.verdicts["figure"] == name]
    ends = rows[["low", "high"]].to_numpy(dtype=np.float64) * label.factor
    every = np.concatenate([value - half, value + half, ends.ravel()])
    every = every[np.isfinite(every)]
    room = 0.08 * max(float(np.ptp(every)), 1e-3)
    number = effort["step"].to_numpy(dtype=np.float64)
    canvas = Canvas(
        width_px=_WIDTH_PX,
        height_px=_HEIGHT_PX,
        left_px=118.0,
        top_px=top_px + 64.0,
        right_px=_WIDTH_PX - _MARGIN_PX,
        bottom_px=top_px + 464.0,
        x_from=float(number.min()) - 0.7,
        x_to=float(number.max()) + 0.7,
        y_from=float(every.min()) - room,
        y_to=float(every.max()) + room,
    )
    words = f"{label.name.capitalize()} by step ({label.unit})"
    sheet.draw_text(canvas.left_px, top_px + 48.0, words, _TEXT_PX, INK)
    _draw_band(sheet, canvas, rows, ends)
    _draw_axes(sheet, canvas)
    marked = np.isin(number, view.cues[0].steps if view.cues else ())
    for row, side in enumerate(effort["side"]):
        if np.isfinite(value[row]):
            point = (float(number[row]), float(value[row]), float(half[row]))
            _draw_point(sheet, canvas, point, str(side), bool(marked[row]))
    return top_px + 560.0


def _draw_band(sheet: Sheet, canvas: Canvas, rows: "pd.DataFrame", ends: FloatArray) -> None:
    """Each step's target as a box with its ends; steps surely off are marked behind."""
    lowest, highest = canvas.y_from, canvas.y_to
    for step, (low, high), verdict in zip(rows["step"], ends, rows["verdict"], strict=True):
        left, right = canvas.scale_x([step - 0.5, step + 0.5])
        if verdict in (ABOVE, BELOW):
            sheet.draw_box((left, canvas.top_px), (right, canvas.bottom_px), _PICK)
        inside = canvas.scale_y(np.clip([high, low], lowest, highest))
        sheet.draw_box((left, inside[0]), (right, inside[1]), BAND)
        for end in (low, high):
            if np.isfinite(end):
                y = float(canvas.scale_y(end))
                sheet.draw_line([(left, y), (right, y)], GREEN, 4.0)


def _draw_axes(sheet: Sheet, canvas: Canvas) -> None:
    for tick in find_ticks(canvas.y_from, canvas.y_to, 6):
        y = float(canvas.scale_y(tick))
        sheet.draw_line([(canvas.left_px, y), (canvas.right_px, y)], FAINT, 1.5)
        shown = f"{tick:g}".replace("-", "−")
        sheet.draw_text(canvas.left_px - 12.0, y + 9.0, shown, _SMALL_PX, SOFT, anchor="rs")
    bottom = canvas.bottom_px
    sheet.draw_line([(canvas.left_px, bottom), (canvas.right_px, bottom)], SOFT, 2.0)
    for tick in find_ticks(np.ceil(canvas.x_from), np.floor(canvas.x_to), 9, whole=True):
        x = float(canvas.scale_x(tick))
        sheet.draw_line([(x, bottom), (x, bottom + 8.0)], SOFT, 2.0)
        sheet.draw_text(x, bottom + 40.0, f"{tick:g}", _SMALL_PX, SOFT, anchor="ms")


def _draw_point(
    sheet: Sheet, canvas: Canvas, point: tuple[float, float, float], side: str, marked: bool
) -> None:
    """A value with its bar: a full disc for left, an open square for right; a ring where marked."""
    step, at, half = point
    x, y = float(canvas.scale_x(step)), float(canvas.scale_y(at))
    colour = _COLOURS[side]
    if np.isfinite(half):
        low, high = canvas.scale_y([at - half, at + half])
        sheet.draw_line([(x, float(low)), (x, float(high))], colour, 4.0)
    if side == "left":
        sheet.draw_disc((x, y), 9.0, colour)
    else:
        sheet.draw_box((x - 9.0, y - 9.0), (x + 9.0, y + 9.0), PAPER, colour, 4.0)
    if marked:
        sheet.draw_ring((x, y), 18.0, INK, 4.0)


def _draw_legs(sheet: Sheet, view: RunView, shown: RunView, top_px: float) -> None:
    """Shin and foot at the first touchdowns, as far as there is room."""
    rows = [row for row in step_rows(shown) if row.phase != "slowing"][:_LEGS]
    drawn = {leg.step: leg for leg in draw_legs(shown)}
    nth = every_nth_pair(view)
    which = f"first {len(rows)} steps" if nth == 1 else f"one of every {nth} pairs of steps"
    sheet.draw_text(_MARGIN_PX, top_px, f"Shin and foot at touchdown, {which}", _TEXT_PX, INK)
    cell = (_WIDTH_PX - 2.0 * _MARGIN_PX) / _ACROSS
    high = min(1.24 * cell, (_HEIGHT_PX - 130.0 - top_px) / 2.0)
    wide = high / 1.24
    for at, row in enumerate(rows):
        corner = (
            _MARGIN_PX + at % _ACROSS * cell + 0.5 * (cell - wide),
            top_px + 16.0 + at // _ACROSS * high,
        )
        _draw_leg(sheet, corner, wide, row, drawn[row.number])


def _draw_leg(
    sheet: Sheet, corner: tuple[float, float], size: float, row: StepRow, leg: Leg
) -> None:
    colour = _COLOURS[row.side]
    scale = size / WIDTH

    def to_px(point: tuple[float, float]) -> tuple[float, float]:
        return corner[0] + point[0] * scale, corner[1] + point[1] * scale

    if row.shin.off:
        sheet.draw_box(to_px((1.0, 1.0)), to_px((63.0, 77.0)), _PICK)
    if leg.band_deg is not None:
        low, high = np.clip(leg.band_deg, 0.0, 180.0)
        sheet.draw_wedge(to_px(leg.ankle), 38.0 * scale, float(low), float(high), BAND, GREEN)
    sheet.draw_line([to_px((4.0, 60.0)), to_px((60.0, 60.0))], SOFT, 2.0)
    filled = colour if row.side == "left" and leg.foot_known else PAPER
    sheet.draw_shape([to_px(point) for point in leg.foot], filled, colour, 1.6 * scale)
    if leg.knee is not None:
        dash = () if row.side == "left" else (6.0 * scale, 4.0 * scale)
        sheet.draw_line([to_px(leg.ankle), to_px(leg.knee)], colour, 3.0 * scale, dash)
    degree = "°" if row.shin.u else ""
    sheet.draw_text(*to_px((3.0, 10.0)), f"{row.number} {row.side[0].upper()}", _SMALL_PX, SOFT)
    words = f"{row.shin.value}{degree} {row.shin.off or row.shin.sign}"
    sheet.draw_text(*to_px((WIDTH / 2.0, HEIGHT + 9.0)), words, _SMALL_PX, INK, anchor="ms")


def _write_foot(sheet: Sheet) -> None:
    lines = (
        "L left, solid.  R right, dashed.  Green: target.  ✓ on target  ~ too close to call",
        "Coaching practice, not advice on health. Stop on pain.",
    )
    for row, line in enumerate(lines):
        sheet.draw_text(_MARGIN_PX, _HEIGHT_PX - 60 + 36 * row, line, 25, SOFT)
