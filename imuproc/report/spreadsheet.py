"""The step table as a spreadsheet: frozen header, units, marks where a step is off target."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.workbook import Format, Workbook
from xlsxwriter.worksheet import Worksheet

from imuproc.assessment.targets import Band, TargetSet
from imuproc.core.columns import COLUMNS, FIGURES, STEP_COLUMNS, step_table_columns
from imuproc.files.text import clean_text
from imuproc.files.whole import replace_file

_DECIMALS: Final = {"s": 3, "Hz": 2, "deg": 1, "m": 3, "m/s": 2}
_MOST_CHARACTERS: Final = 32_767  # of a cell; the rest is cut off, with a sign that it was
# A workbook states when it was made; a fixed day, so that equal results are equal files.
_MADE: Final = datetime(2000, 1, 1)
_MARKS: Final = (
    ("above", {"bg_color": "#F6D2B8", "font_color": "#000000", "bold": True}),
    ("below", {"bg_color": "#C9DFF2", "font_color": "#000000", "bold": True}),
    ("on target", {"bg_color": "#D4EBDD", "font_color": "#000000"}),
)


def verdict_name(figure: str) -> str:
    """Column that says how a figure stands against its target."""
    return f"{figure.rsplit('_', 1)[0]}_verdict"


def write_steps_xlsx(
    path: Path, steps: pd.DataFrame, judged: pd.DataFrame, targets: Sequence[TargetSet]
) -> None:
    """Write the step table with its verdicts, a sheet that explains columns, one of targets.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole.
    steps : DataFrame
        Step tables of all runs.
    judged : DataFrame
        From :func:`imuproc.assessment.verdicts.find_verdicts`, of all runs.
    targets : sequence of TargetSet
        The sets that were used.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    table = _with_verdicts(steps, judged, targets)
    with replace_file(path) as temporary, xlsxwriter.Workbook(str(temporary), options) as book:
        book.set_properties({"created": _MADE})
        _steps_sheet(book, table)
        _columns_sheet(book, list(table.columns))
        _targets_sheet(book, targets)


def _with_verdicts(
    steps: pd.DataFrame, judged: pd.DataFrame, targets: Sequence[TargetSet]
) -> pd.DataFrame:
    """Step table, a verdict right after each figure that has a target; uncertainties last."""
    figures = {band.figure for chosen in targets for band in chosen.bands}
    wide = judged.pivot(index=["run", "step"], columns="figure", values="verdict")
    keyed = wide.reindex(pd.MultiIndex.from_frame(steps[["run", "step"]]))
    columns: dict[str, Any] = {}
    for name in step_table_columns():
        columns[name] = steps[name].to_numpy()
        if name in figures:
            told = keyed[name].fillna("") if name in keyed else pd.Series("", keyed.index)
            columns[verdict_name(name)] = told.to_numpy()
    return pd.DataFrame(columns)


def _get_unit(name: str) -> str:
    return STEP_COLUMNS[name].unit if name in STEP_COLUMNS else ""


def _steps_sheet(book: Workbook, table: pd.DataFrame) -> None:
    sheet = book.add_worksheet("Steps")
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    unit = book.add_format({"italic": True, "bottom": 2})
    sheet.set_row(0, 48)
    numbers: dict[str, Format] = {
        name: book.add_format({"num_format": "0." + "0" * decimals})
        for name, decimals in _DECIMALS.items()
    }
    for at, name in enumerate(table.columns):
        # Names break at their underscores, so that columns can be narrow.
        sheet.write_string(0, at, name.replace("_", " "), head)
        sheet.write_string(1, at, _get_unit(name), unit)
        _fill_column(sheet, at, table[name], numbers.get(_get_unit(name)))
    sheet.set_column(0, len(table.columns) - 1, 12)
    sheet.freeze_panes(2, 7)
    if len(table):
        sheet.autofilter(1, 0, len(table) + 1, len(table.columns) - 1)
        _mark_verdict(book, sheet, table)
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.repeat_rows(0, 1)


def _fill_column(sheet: Worksheet, at: int, values: "pd.Series[Any]", form: Format | None) -> None:
    """A column of figures or of words; a missing figure leaves its cell empty."""
    for row, value in enumerate(values, start=2):
        if isinstance(value, str):
            if value:
                sheet.write_string(row, at, _to_text(value))
        elif np.isfinite(value):
            sheet.write_number(row, at, value, form)


def _to_text(value: str) -> str:
    cleaned = clean_text(value)
    return cleaned if len(cleaned) <= _MOST_CHARACTERS else cleaned[: _MOST_CHARACTERS - 1] + "…"


def _mark_verdict(book: Workbook, sheet: Worksheet, table: pd.DataFrame) -> None:
    """Colour a judged figure and its verdict by what the verdict says."""
    forms = [(word, book.add_format(look)) for word, look in _MARKS]
    names = list(table.columns)
    for figure in FIGURES:
        if verdict_name(figure) not in names:
            continue
        at = names.index(verdict_name(figure))
        for word, form in forms:
            rule = {
                "type": "formula",
                "criteria": f'=${xl_col_to_name(at)}3="{word}"',
                "format": form,
            }
            sheet.conditional_format(2, at - 1, len(table) + 1, at, rule)


def _columns_sheet(book: Workbook, names: Sequence[str]) -> None:
    sheet = book.add_worksheet("Columns")
    rows = [("Column", "Unit", "Meaning")]
    for name in names:
        rows.append((name, _get_unit(name), _get_meaning(name)))
    _write_words(book, sheet, rows, (34, 8, 100))


def _get_meaning(name: str) -> str:
    if name in STEP_COLUMNS:
        return STEP_COLUMNS[name].meaning
    for column in COLUMNS:
        if column.kind == "figure" and name == verdict_name(column.name):
            return (
                f"{column.name} against its target: on target, above or below it when that is at "
                "least 95 % sure, else too close to call."
            )
    return ""


def _targets_sheet(book: Workbook, targets: Sequence[TargetSet]) -> None:
    sheet = book.add_worksheet("Targets")
    rows: list[tuple[str, ...]] = [
        ("Set", "Figure", "Phase", "Steps", "Low", "High", "Worth a word", "Basis")
    ]
    for chosen in targets:
        for band in chosen.bands:
            rows += [(chosen.name, *row) for row in _band_rows(band)]
    _write_words(book, sheet, rows, (14, 32, 12, 14, 8, 8, 14, 100))


def _band_rows(band: Band) -> list[tuple[str, ...]]:
    out: list[tuple[str, ...]] = []
    for number, (low, high) in enumerate(band.ends, start=1):
        last = number == len(band.ends)
        which = "all" if len(band.ends) == 1 else f"{number} and on" if last else str(number)
        if band.speeds_mps:
            which = f"at {band.speeds_mps[number - 1]:g} m/s" + " and on" * last
        bottom, top = (f"{end:g}" if np.isfinite(end) else "" for end in (low, high))
        least = f"{band.least_excess:g}"
        out.append((band.figure, str(band.phase), which, bottom, top, least, band.basis))
    return out


def _write_words(
    book: Workbook, sheet: Worksheet, rows: Sequence[Sequence[str]], widths: Sequence[int]
) -> None:
    head = book.add_format({"bold": True, "bottom": 2})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    for at, row in enumerate(rows):
        for column, value in enumerate(row):
            sheet.write_string(at, column, _to_text(value), wrapped if at else head)
    for column, width in enumerate(widths):
        sheet.set_column(column, column, width)
    sheet.freeze_panes(1, 0)
