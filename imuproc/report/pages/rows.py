"""The tables of a run page: steps, left against right, uncertainty by part."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from imuproc.assessment.verdicts import ABOVE, BELOW, IN_DOUBT, NOT_MEASURED, ON_TARGET, TOO_CLOSE
from imuproc.core.columns import uncertainty_name
from imuproc.core.uncertainty import PARTS
from imuproc.files.text import MISSING, clean_text, format_fixed
from imuproc.report.pages.labels import LABELS, Label
from imuproc.report.pages.view import RunView
from imuproc.results.columns import WITH_SYMMETRY, difference_name, symmetry_name
from imuproc.results.means import compute_typical_u
from imuproc.results.symmetry import compute_side_means

MARKS: Final = {
    ON_TARGET: ("✓", "on target"),
    ABOVE: ("▲", "above target"),
    BELOW: ("▼", "below target"),
    TOO_CLOSE: ("~", "too close to call"),
    NOT_MEASURED: ("", "not measured"),
    IN_DOUBT: ("?", "in doubt"),
    "": ("", ""),
}
"""Sign and words of each verdict."""


@dataclass(frozen=True)
class Cell:
    """A figure of a step as it is shown.

    Parameters
    ----------
    value, u : str
        Rounded; ``u`` is empty where there is none.
    sign, words : str
        Of the verdict; empty where there is no target.
    off : str
        How far off target, with sign and unit; empty where it is not surely off.
    kind : str
        Class of the style sheet: ``on``, ``off``, ``close`` or empty.
    """

    value: str
    u: str
    sign: str
    words: str
    off: str
    kind: str


@dataclass(frozen=True)
class StepRow:
    """A step as the table and the picker show it.

    Parameters
    ----------
    number : int
    side, phase : str
    cells : tuple of Cell
        In the order of ``LABELS``.
    flags : str
        In words.
    said, brief : str
        The step in one sentence, and as short as it goes.
    """

    number: int
    side: str
    phase: str
    cells: tuple[Cell, ...]
    flags: str
    said: str
    brief: str

    @property
    def shin(self) -> Cell:
        """The shin angle at touchdown."""
        return self.cells[0]


@lru_cache(maxsize=4)
def step_rows(view: RunView) -> tuple[StepRow, ...]:
    """All steps of a run; kept for a moment, since page, picture and comparison show the same."""
    if not view.has_steps:
        return ()
    judged = view.verdicts
    verdict = {
        (int(step), str(figure)): (str(word), float(excess))
        for step, figure, word, excess in judged[
            ["step", "figure", "verdict", "excess"]
        ].itertuples(index=False)
    }
    out = []
    for row in view.steps.to_dict("records"):
        number = int(row["step"])
        cells = tuple(
            _make_cell(
                label,
                float(row[label.figure]),
                float(row[uncertainty_name(label.figure)]),
                verdict.get((number, label.figure), ("", 0.0)),
            )
            for label in LABELS.values()
        )
        side, phase = str(row["side"]), str(row["phase"])
        flags = clean_text(str(row["flags"] or "").replace("_", " ").replace(";", ", "))
        said, brief = _say_step(number, (side, phase), cells), _say_briefly(number, side, cells)
        out.append(StepRow(number, side, phase, cells, flags, said, brief))
    return tuple(out)


def _make_cell(label: Label, value: float, u: float, judged: tuple[str, float]) -> Cell:
    verdict, excess = judged
    sign, words = MARKS[verdict]
    kinds = {ON_TARGET: "on", ABOVE: "off", BELOW: "off", TOO_CLOSE: "close"}
    shown_u = label.format_uncertainty(u) if np.isfinite(value) else ""
    off = label.format_signed(excess) if verdict in (ABOVE, BELOW) else ""
    return Cell(label.format_number(value), shown_u, sign, words, off, kinds.get(verdict, ""))


_SAID: Final = (
    "shin_angle_touchdown_deg",
    "dorsiflexion_swing_mean_deg",
    "contact_time_s",
    "flight_time_s",
)


def _say_step(number: int, which: tuple[str, str], cells: tuple[Cell, ...]) -> str:
    parts = []
    for label, cell in zip(LABELS.values(), cells, strict=True):
        if label.figure not in _SAID:
            continue
        if cell.value == MISSING:
            parts.append(f"{label.name} not measured")
            continue
        unit = label.unit if label.unit == "°" else f" {label.unit}"
        words = f" ({' '.join(filter(None, (cell.off, cell.words)))})" if cell.words else ""
        parts.append(f"{label.name} {cell.value}{unit}{words}")
    return f"Step {number}, {which[0]}, {which[1]}: {', '.join(parts)}."


def _say_briefly(number: int, side: str, cells: tuple[Cell, ...]) -> str:
    names = dict(zip(_SAID, ("shin", "toe", "contact", "flight"), strict=True))
    parts = []
    for label, cell in zip(LABELS.values(), cells, strict=True):
        if label.figure in names:
            unit = "" if not cell.u else "°" if label.unit == "°" else f"\u00a0{label.unit}"
            shown = cell.off or cell.sign
            sign = f"\u00a0({shown})" if shown else ""
            parts.append(f"{names[label.figure]}\u00a0{cell.value}{unit}{sign}")
    return f"{number}\u00a0{side}: {', '.join(parts)}"


@dataclass(frozen=True)
class SideRow:
    """A figure of the left foot against the right.

    Parameters
    ----------
    name, unit : str
    left, right : str
        Means over the effort.
    difference : str
        Left minus right without the change through the run, with its standard uncertainty.
    index : str
        Symmetry index in %, empty where it is not fit for the figure.
    words : str
        Whether the difference is clear.
    """

    name: str
    unit: str
    left: str
    right: str
    difference: str
    index: str
    words: str


def side_rows(view: RunView) -> list[SideRow]:
    """Left against right, for every shown figure whose difference is known."""
    effort = view.steps[view.steps["phase"] != "slowing"]
    left = (effort["side"] == "left").to_numpy(dtype=np.bool_)
    sure = view.summary.surely_differ()
    out = []
    for label in LABELS.values():
        difference = view.summary.figures.get(difference_name(label.figure), float("nan"))
        if not np.isfinite(difference):
            continue
        of_sides = compute_side_means(effort[label.figure].to_numpy(dtype=np.float64), left)
        u = view.summary.figures.get(uncertainty_name(difference_name(label.figure)), float("nan"))
        index = view.summary.figures.get(symmetry_name(label.figure), float("nan"))
        more = "left" if difference > 0.0 else "right"
        out.append(
            SideRow(
                name=label.short,
                unit=label.unit,
                left=label.format_number(of_sides[0]),
                right=label.format_number(of_sides[1]),
                difference=_format_difference(label, difference, u),
                index=format_fixed(index, 1) if label.figure in WITH_SYMMETRY else "",
                words=f"more on the {more}" if label.figure in sure else "no clear difference",
            )
        )
    return out


def _format_difference(label: Label, difference: float, u: float) -> str:
    decimals = label.decimals + (1 if label.unit == "°" else 0)
    shown = max(u * label.factor, 10.0**-decimals)
    return f"{difference * label.factor:+z.{decimals}f} ± {format_fixed(shown, decimals)}"


@dataclass(frozen=True)
class PartRow:
    """How a figure's uncertainty is made up.

    Parameters
    ----------
    name : str
    total : str
        Middle value of the standard uncertainty over the steps, with its unit.
    parts : tuple of (str, str)
        Name and middle value of each part that matters, largest first.
    """

    name: str
    total: str
    parts: tuple[tuple[str, str], ...]


def part_rows(view: RunView) -> list[PartRow]:
    """Uncertainty of each shown figure and its largest parts."""
    out = []
    for label in LABELS.values():
        typical = compute_typical_u(view.steps, view.uncertainty, label.figure)
        if typical is None:
            continue
        total, parts = typical
        shown = tuple((n, _is_fine(label, part)) for n, part in parts.items() if part > 0.1 * total)
        out.append(PartRow(label.short, _is_fine(label, total), shown))
    return out


def part_meanings(rows: list[PartRow]) -> list[tuple[str, str]]:
    """Each part that stands in the rows, and what it means."""
    names = dict.fromkeys(name for row in rows for name, _ in row.parts)
    return [(name.replace("_", " "), PARTS.get(name, "")) for name in names]


def _is_fine(label: Label, value: float) -> str:
    decimals = label.decimals + (0 if label.unit == "m" else 1)
    space = "" if label.unit == "°" else " "
    return (
        f"{format_fixed(max(value * label.factor, 10.0**-decimals), decimals)}{space}{label.unit}"
    )
