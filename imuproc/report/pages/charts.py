"""Charts of a run page: a figure by step, an angle through every swing, contacts along time."""

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from imuproc.assessment.verdicts import ABOVE, BELOW
from imuproc.core.columns import uncertainty_name
from imuproc.plots.looks import COVERAGE
from imuproc.report.pages.drawing import Canvas, box_path, find_ticks, line_path, of_step
from imuproc.report.pages.labels import label_of
from imuproc.report.pages.view import RunView

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

WIDTH_PX: Final = 320.0
"""Near a phone's: on wider screens charts stand beside each other."""
_HEIGHT_PX: Final = 250.0
_LEFT_PX: Final = 44.0
_RIGHT_PX: Final = 8.0
_TOP_PX: Final = 24.0
_BOTTOM_PX: Final = 44.0
_LETTER_PX: Final = 6.6
"""Width of a letter, to see whether a word has room."""
JUDGED_FROM: Final = 0.6
"""Share of the swing from which on the toe is judged."""

_STRIP_PX: Final = 126.0
_MOST_IN_LINE: Final = 14
_ROWS: Final = {"left": 2.0, "air": 1.0, "right": 0.0}
_AIR_PX: Final = 8.0


def draw_by_step(view: RunView, figure: str) -> str:
    """A figure by step as SVG: target band, value, 95 % bars, marks where surely off target."""
    label = label_of(figure)
    value = view.steps[figure].to_numpy(dtype=np.float64) * label.factor
    u = view.steps[uncertainty_name(figure)].to_numpy(dtype=np.float64) * label.factor
    half = COVERAGE * np.nan_to_num(u)
    number = view.steps["step"].to_numpy(dtype=np.int64)
    band = _scale_band(view, figure, label.factor)
    low, high = _find_limits(value, half, band)
    canvas = _make_canvas((number.min() - 0.8, number.max() + 0.8), (low, high))
    _add_band(canvas, band)
    canvas.add_y_axis(find_ticks(low, high, 6))
    _add_phases(canvas, view.steps)
    verdict = _verdict_of(view, figure)
    side = view.steps["side"].to_numpy(dtype=object)
    for step, of_side, at, reach in zip(number, side, value, half, strict=True):
        column = box_path(canvas.scale_x([step - 0.5, step + 0.5]), canvas.scale_y([low, high]))
        canvas.add(of_step("column", int(step), f'<path d="{column}"/>'))
        if np.isfinite(at):
            shape = _draw_point(canvas, float(step), str(of_side), (float(at), float(reach)))
            canvas.add(of_step("point", int(step), shape))
            _add_off_mark(canvas, int(step), (float(at), float(reach)), verdict.get(int(step), ""))
    canvas.add_x_axis(find_ticks(number.min(), number.max(), 8, whole=True), "step")
    return canvas.to_svg()


def _make_canvas(x: tuple[float, float], y: tuple[float, float]) -> Canvas:
    """Axes of the usual size between two values along each axis."""
    return Canvas(
        width_px=WIDTH_PX,
        height_px=_HEIGHT_PX,
        left_px=_LEFT_PX,
        top_px=_TOP_PX,
        right_px=WIDTH_PX - _RIGHT_PX,
        bottom_px=_HEIGHT_PX - _BOTTOM_PX,
        x_from=float(x[0]),
        x_to=float(x[1]),
        y_from=y[0],
        y_to=y[1],
    )


def _scale_band(view: RunView, figure: str, factor: float) -> FloatArray:
    """Rows ``step, low, high`` of the steps that have a band, shape (m, 3), shown unit."""
    rows = view.verdicts[view.verdicts["figure"] == figure]
    table = rows[["step", "low", "high"]].to_numpy(dtype=np.float64)
    scaled: FloatArray = table * np.array([1.0, factor, factor])
    return scaled


def _find_limits(value: FloatArray, half: FloatArray, band: FloatArray) -> tuple[float, float]:
    """Ends of the upright axis: all values, bars and finite ends of bands."""
    ends = np.concatenate([value - half, value + half, band[:, 1:].ravel()])
    ends = ends[np.isfinite(ends)]
    if not len(ends):
        return 0.0, 1.0
    room = 0.08 * max(float(np.ptp(ends)), 1e-3)
    return float(ends.min()) - room, float(ends.max()) + room


def _add_band(canvas: Canvas, band: FloatArray) -> None:
    """Each step's target as a box, and a line at each end that there is."""
    bottom = np.maximum(band[:, 1], canvas.y_from)
    top = np.minimum(band[:, 2], canvas.y_to)
    boxes = "".join(
        box_path(canvas.scale_x([n - 0.5, n + 0.5]), canvas.scale_y([b, t]))
        for n, b, t in zip(band[:, 0], bottom, top, strict=True)
    )
    canvas.add(f'<path class="band" d="{boxes}"/>')
    ends = [(n, end) for n, *both in band for end in both if np.isfinite(end)]
    edges = "".join(
        line_path(canvas.scale_x([n - 0.5, n + 0.5]), canvas.scale_y([end, end])) for n, end in ends
    )
    canvas.add(f'<path class="edge" d="{edges}"/>')


def _add_phases(canvas: Canvas, steps: "pd.DataFrame") -> None:
    """A line where a phase begins, and its name on top where there is room for it."""
    number, phase = steps["step"].to_numpy(dtype=np.int64), steps["phase"].to_numpy()
    starts = np.flatnonzero(np.r_[True, phase[1:] != phase[:-1]])
    ends = np.r_[starts[1:], len(phase)]
    for begin, end in zip(starts, ends, strict=True):
        at, until = canvas.scale_x([number[begin] - 0.5, number[end - 1] + 0.5])
        if begin:
            canvas.add(
                f'<path class="phase" d="M{at:.1f} {canvas.top_px:g}V{canvas.bottom_px:g}"/>'
            )
        if until - at > _LETTER_PX * len(phase[begin]):
            canvas.add_text(at + 2.0, canvas.top_px - 7.0, phase[begin], 'class="small"')


def _draw_point(canvas: Canvas, step: float, side: str, value: tuple[float, float]) -> str:
    """A value with its bar: a full disc for left, an open square for right."""
    at, half = value
    x, y = float(canvas.scale_x(step)), float(canvas.scale_y(at))
    bar = ""
    if half > 0.0:
        low, high = canvas.scale_y([at - half, at + half])
        bar = f'<path class="reach" d="M{x:.1f} {low:.1f}V{high:.1f}"/>'
    point = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        if side == "left"
        else f'<path d="M{x - 3.6:.1f} {y - 3.6:.1f}h7.2v7.2h-7.2Z"/>'
    )
    return f'<g class="{side}">{bar}{point}</g>'


def _add_off_mark(canvas: Canvas, step: int, value: tuple[float, float], verdict: str) -> None:
    """An arrow head beyond the bar of a step that is surely off target."""
    if verdict not in (ABOVE, BELOW):
        return
    at, half = value
    up = verdict == ABOVE
    y = float(canvas.scale_y(at + half if up else at - half)) + (-5.0 if up else 14.0)
    canvas.add_text(float(canvas.scale_x(step)), y, "▲" if up else "▼", 'class="mid off"')


def _verdict_of(view: RunView, figure: str) -> dict[int, str]:
    rows = view.verdicts[view.verdicts["figure"] == figure]
    return {int(s): str(v) for s, v in zip(rows["step"], rows["verdict"], strict=True)}


def draw_swings(view: RunView, name: str) -> str:
    """An angle through every swing as SVG; the part over which the toe is judged is shaded."""
    curves = view.curves[name]
    angles = np.concatenate([*(curve.angle_deg for curve in curves), [0.0]])
    low, high = _find_limits(angles, np.zeros(1), np.empty((0, 3)))
    canvas = _make_canvas((0.0, 100.0), (low, high))
    if name == "dorsiflexion":
        canvas.add_box((100.0 * JUDGED_FROM, 100.0), (low, high), 'class="band"')
    canvas.add_y_axis(find_ticks(low, high, 6))
    zero = line_path(canvas.scale_x([0.0, 100.0]), canvas.scale_y([0.0, 0.0]))
    canvas.add(f'<path class="zero" d="{zero}"/>')
    for curve in curves:
        path = line_path(canvas.scale_x(100.0 * curve.share), canvas.scale_y(curve.angle_deg))
        canvas.add(of_step("curve", curve.step, f'<path class="{curve.side}" d="{path}"/>'))
    canvas.add_x_axis(range(0, 101, 20), "share of the swing (%)")
    return canvas.to_svg()


def draw_time_strip(view: RunView) -> str:
    """Contacts of both feet along time as SVG, flights between them; a long run in lines."""
    steps = view.steps[["step", "side", "touchdown_s", "toe_off_s", "flight_time_s"]]
    steps = steps[np.isfinite(steps["touchdown_s"]) & np.isfinite(steps["toe_off_s"])]
    zero = float(steps["touchdown_s"].min())
    lines = -(-len(steps) // _MOST_IN_LINE)
    per_line = -(-len(steps) // lines)
    height = _STRIP_PX * lines + 24.0
    canvas = Canvas(WIDTH_PX, height, 56.0, 0.0, WIDTH_PX - 8.0, 0.0, 0.0, 1.0, -0.9, 2.9)
    for line in range(lines):
        part = steps.iloc[line * per_line : (line + 1) * per_line]
        canvas.top_px = line * _STRIP_PX
        canvas.bottom_px = canvas.top_px + _STRIP_PX - 26.0
        label = "seconds after the first touchdown" if line + 1 == lines else ""
        _add_strip_line(canvas, part, zero, label)
    return canvas.to_svg()


def _add_strip_line(canvas: Canvas, steps: "pd.DataFrame", zero_s: float, label: str) -> None:
    first, last = steps["touchdown_s"].min() - zero_s, steps["toe_off_s"].max() - zero_s
    room = 0.02 * (last - first)
    canvas.x_from, canvas.x_to = float(first - room), float(last + room)
    for name, row in _ROWS.items():
        canvas.add_text(canvas.left_px - 6.0, float(canvas.scale_y(row)) + 5.0, name, 'class="end"')
    for step, side, down, off, flight in steps.itertuples(index=False):
        _add_contact(canvas, int(step), str(side), (down - zero_s, off - zero_s))
        if np.isfinite(flight) and flight > 0.0:
            x, middle = (
                canvas.scale_x([off - zero_s, off + flight - zero_s]),
                float(canvas.scale_y(1.0)),
            )
            box = box_path(x, np.array([middle - 0.5 * _AIR_PX, middle + 0.5 * _AIR_PX]))
            canvas.add(f'<path class="air" d="{box}"/>')
    canvas.add_x_axis(find_ticks(canvas.x_from, canvas.x_to, 6), label)


def _add_contact(canvas: Canvas, step: int, side: str, when_s: tuple[float, float]) -> None:
    """One contact as a bar with its number: above it (left) or below it (right)."""
    row = _ROWS[side]
    x, y = canvas.scale_x(when_s), canvas.scale_y([row - 0.36, row + 0.36])
    canvas.add(of_step("bar", step, f'<path class="{side}" d="{box_path(x, y)}"/>'))
    at = float(y.min()) - 3.0 if side == "left" else float(y.max()) + 13.0
    canvas.add_text(float(x.mean()), at, step, 'class="mid small"')


def draw_two_by_step(first: RunView, second: RunView, figure: str) -> str:
    """A figure of two runs by step as SVG: the first as discs, the second as open squares."""
    factor = label_of(figure).factor
    views = (first, second)
    tables = [view.steps[view.steps["phase"] != "slowing"] for view in views]
    values = [table[figure].to_numpy(dtype=np.float64) * factor for table in tables]
    names = uncertainty_name(figure)
    halves = [
        COVERAGE * np.nan_to_num(table[names].to_numpy(dtype=np.float64) * factor)
        for table in tables
    ]
    numbers = [table["step"].to_numpy(dtype=np.float64) for table in tables]
    band = _scale_band(first, figure, factor)
    low, high = _find_limits(np.concatenate(values), np.concatenate(halves), band)
    last = max(float(number.max(initial=1.0)) for number in numbers)
    canvas = _make_canvas((0.2, last + 0.8), (low, high))
    _add_band(canvas, band)
    canvas.add_y_axis(find_ticks(low, high, 6))
    for look, aside, number, value, half in zip(
        ("left", "right"), (-0.16, 0.16), numbers, values, halves, strict=True
    ):
        for step, at, reach in zip(number, value, half, strict=True):
            if np.isfinite(at):
                place = float(step) + aside
                canvas.add(_draw_point(canvas, place, look, (float(at), float(reach))))
    canvas.add_x_axis(find_ticks(1.0, last, 8, whole=True), "step")
    return canvas.to_svg()
