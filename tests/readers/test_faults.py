"""What breaks a delimited log is named with its line and column."""

import pytest

from tests.readers.samples import layout, refusal, text


def test_stated_decimal_mark_is_kept_to(tmp_path):
    found = refusal(tmp_path, text(";", ","), layout(decimal="."))
    assert found.startswith("line 2, column 'time_s': found '0,0'; allowed: a number")


def test_clock_times_are_refused(tmp_path):
    found = refusal(tmp_path, text().replace("0.01,", "12:00:01.5,"))
    assert "found '12:00:01.5'; allowed: a number (clock times are not read" in found


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        (
            "abc",
            "found 'abc'; allowed: a number (a word for missing values is stated by the layout",
        ),
        ("1.5x", "found '1.5x'; allowed: a number"),
        ("0x10", "found '0x10'; allowed: a number"),
        ("1_0", "found '1_0'; allowed: a number"),
        ("1 5", "found '1 5'; allowed: a number"),
        ("--", "found '--'; allowed: a number (a word for missing values"),
        ("1.2.3", "found '1.2.3'; allowed: a number"),
        ("\x00", r"found '\x00'; allowed: a number"),
        ("'1.5'", "found \"'1.5'\"; allowed: a number"),
        ('"1,234.5"', "found '1,234.5'; allowed: a number (marks between thousands are not read)"),
    ],
)
def test_cell_that_is_no_number(tmp_path, cell, expected):
    content = "# comment\n\n" + text().replace(",-0.02,", f",{cell},")
    found = refusal(tmp_path, content, layout(format="delimited"))
    assert found.startswith(f"line 4, column 'ay': {expected}")


def test_line_number_is_right_far_down_and_past_comments(tmp_path):
    lines = text(n=20_000).splitlines()
    lines[15_000] = "# a comment\n\n" + lines[15_000].replace(",", ",x", 1)
    found = refusal(tmp_path, "\n".join(lines))
    assert found.startswith("line 15003, column 'ax': found 'x")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " "])
@pytest.mark.parametrize(("change", "cells"), [("less", 6), ("more", 8)])
def test_ragged_line(tmp_path, delimiter, change, cells):
    lines = text(delimiter).splitlines()
    lines[3] = lines[3].rsplit(delimiter, 1)[0] if change == "less" else lines[3] + delimiter + "1"
    found = refusal(tmp_path, "\n".join(lines))
    assert found == f"line 4: found {cells} cells; allowed: 7"


def test_first_sample_with_another_number_of_cells(tmp_path):
    header, rest = text().split("\n", 1)
    found = refusal(tmp_path, f"{header},temperature,pressure\n{rest}")
    assert found == "line 2: found 7 cells; allowed: 9, as in the header"


def test_last_line_with_an_end_and_too_few_cells(tmp_path):
    found = refusal(tmp_path, text() + "0.05,0.1,0.\n")
    assert found.startswith("line 7: found 3 cells; allowed: 7; it is the last line: if the record")


def test_quote_that_is_not_closed(tmp_path):
    content = text().replace("gz\n", "gz,note\n").replace("\n", ",ok\n").replace("note,ok", "note")
    lines = content.splitlines()
    lines[2] = lines[2].replace(",ok", ',"ok')
    found = refusal(tmp_path, "\n".join(lines))
    assert found.startswith("line 3: found a quote that is not closed; allowed: quotes in pairs")
