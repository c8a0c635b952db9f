"""The spreadsheet: opened again with another library, figures are numbers and text stays text."""

import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from imuproc.assessment.targets import DEFAULT, read_targets
from imuproc.assessment.verdicts import find_verdicts
from imuproc.report.spreadsheet import write_steps_xlsx
from imuproc.results.tables import join_steps
from tests.report.fake_result import fake_steps

TARGETS = read_targets()[DEFAULT]


def written(path: Path, steps: pd.DataFrame) -> Path:
    write_steps_xlsx(path, steps, find_verdicts(steps, TARGETS), [TARGETS])
    return path


@pytest.fixture
def steps() -> pd.DataFrame:
    return join_steps([fake_steps(), fake_steps(run="R07-02", first_side="right")])


def test_figures_come_back_as_numbers_under_a_frozen_header_with_units(
    tmp_path: Path, steps: pd.DataFrame
) -> None:
    sheet = openpyxl.load_workbook(written(tmp_path / "steps.xlsx", steps))["Steps"]
    assert sheet.freeze_panes == "H3"
    head = {cell.value: cell.column for cell in sheet[1]}
    contact = head["contact time s"]
    assert sheet.cell(2, contact).value == "s"
    found = [sheet.cell(row, contact).value for row in range(3, 3 + len(steps))]
    np.testing.assert_allclose(found, steps["contact_time_s"])
    flight = head["flight time s"]
    assert sheet.cell(3 + 5, flight).value is None  # the last step has no flight
    assert "contact time s u" in head
    judged = find_verdicts(steps, TARGETS)
    shin = judged[judged["figure"] == "shin_angle_touchdown_deg"]
    told = [sheet.cell(row, head["shin angle touchdown verdict"]).value for row in range(3, 15)]
    by_step = dict(zip(shin["run"] + shin["step"].astype(str), shin["verdict"], strict=True))
    keys = (steps["run"] + steps["step"].astype(str))[: len(told)]
    assert [verdict or None for verdict in told] == [by_step.get(key) for key in keys]


def test_marks_depend_on_the_verdict_beside_the_figure(tmp_path: Path, steps: pd.DataFrame) -> None:
    sheet = openpyxl.load_workbook(written(tmp_path / "steps.xlsx", steps))["Steps"]
    column = next(c.column_letter for c in sheet[1] if c.value == "contact time verdict")
    rules = [
        rule.formula[0]
        for area in sheet.conditional_formatting
        for rule in area.rules
        if column in str(area.sqref)
    ]
    assert rules == [f'${column}3="{word}"' for word in ("above", "below", "on target")]


HOSTILE = ("=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("x")', "{=1}", "http://example.org", "12")


@pytest.mark.parametrize("text", HOSTILE)
def test_text_never_becomes_a_formula_a_link_or_a_number(
    tmp_path: Path, steps: pd.DataFrame, text: str
) -> None:
    hostile = steps.assign(athlete=text, session=text + "x" * 40_000, flags=text)
    path = written(tmp_path / "steps.xlsx", hostile)
    book = openpyxl.load_workbook(path)
    cell = book["Steps"].cell(3, 2)
    assert (cell.value, cell.data_type) == (text, "s")
    assert len(book["Steps"].cell(3, 1).value) == 32_767
    assert cell.hyperlink is None
    with zipfile.ZipFile(path) as parts:
        assert b"<f>" not in parts.read("xl/worksheets/sheet1.xml").replace(b"<formula>", b"")


def test_columns_and_targets_are_explained(tmp_path: Path, steps: pd.DataFrame) -> None:
    book = openpyxl.load_workbook(written(tmp_path / "steps.xlsx", steps))
    meanings = {row[0].value: row[2].value for row in book["Columns"].iter_rows(min_row=2)}
    assert all(meanings.values())
    assert "95 %" in meanings["contact_time_verdict"]
    bases = [row[7].value for row in book["Targets"].iter_rows(min_row=2)]
    assert len(bases) == sum(len(band.ends) for band in TARGETS.bands)
    assert all(bases)


def test_equal_results_are_equal_files_and_no_steps_are_fine(
    tmp_path: Path, steps: pd.DataFrame
) -> None:
    one, other = (written(tmp_path / name, steps) for name in ("a.xlsx", "b.xlsx"))
    assert one.read_bytes() == other.read_bytes()
    empty = openpyxl.load_workbook(written(tmp_path / "none.xlsx", join_steps([])))["Steps"]
    assert empty.max_row == 2
