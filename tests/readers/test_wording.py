"""How errors word what was found."""

import datetime

import pytest

from imuproc.files.wording import did_you_mean, found, quoted


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (True, "true"),
        (False, "false"),
        (3, "the number 3"),
        (-2.5, "the number -2.5"),
        pytest.param(10**5000, "the number of more than 30 digits", id="long"),
        ("a\nb", r"the text 'a\nb'"),
        ([1, 2], "a list of 2"),
        ({"a": 1}, "a table"),
        (datetime.date(2031, 4, 12), "date 2031-04-12"),
    ],
)
def test_value_in_words(value, words):
    assert found(value) == words


def test_long_texts_are_cut():
    assert len(quoted("x" * 10_000)) < 100
    assert quoted("x" * 10_000).endswith("...")


def test_near_words_only():
    assert did_you_mean("ATHELETE", ["athlete", "id"]) == " - did you mean 'athlete'?"
    assert did_you_mean("colour", ["athlete", "id"]) == ""
    assert did_you_mean("x", []) == ""
