import pytest

from imuproc.files.text import (
    clean_text,
    escape_formula,
    format_fixed,
    format_with_uncertainty,
    unescape_formula,
)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain", "plain"),
        ("red \x1b[31mtext\x1b[0m", "red text"),
        ("two\nlines\tand tabs", "two lines and tabs"),
        ("bell\x07 and \x9b2J", "bell and 2J"),
        ("turned \u202eround", "turned round"),
        ("[bold]kept as it is[/bold]", "[bold]kept as it is[/bold]"),
    ],
)
def test_free_text_cannot_steer_a_terminal(text: str, shown: str) -> None:
    assert clean_text(text) == shown


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\n@"])
def test_free_text_is_never_a_spreadsheet_formula(start: str) -> None:
    assert escape_formula(f"{start}SUM(A1)").startswith("'")


@pytest.mark.parametrize("text", ["=SUM(A1)", "-", "logs/a.csv: line 3", "'quoted' word", ""])
def test_what_was_made_safe_for_a_spreadsheet_is_read_back(text: str) -> None:
    assert unescape_formula(escape_formula(text)) == text


def test_ordinary_reasons_keep_their_words() -> None:
    assert escape_formula("logs/a.csv: line 3") == "logs/a.csv: line 3"


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [(0.1234567, 6, "0.123457"), (-0.0001, 3, "0.000"), (-12.0, 1, "-12.0")],
)
def test_numbers_have_fixed_decimals(value: float, decimals: int, shown: str) -> None:
    assert format_fixed(value, decimals) == shown


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_empty(value: float) -> None:
    assert format_fixed(value, 2) == ""


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (47.31, 0.82, "47.3 ±0.8"),
        (47.31, 0.001, "47.3 ±0.1"),  # never ±0.0
        (47.31, float("nan"), "47.3"),
        (float("nan"), 0.8, "-"),
    ],
)
def test_uncertainty_stands_beside_its_figure(value: float, uncertainty: float, shown: str) -> None:
    assert format_with_uncertainty(value, uncertainty, 1) == shown
