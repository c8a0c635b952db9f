"""How errors word what was found."""

import datetime

import pytest

from imuproc.files.wording import describe_value, quote, suggest_word


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
    assert describe_value(value) == words


def test_long_texts_are_cut():
    assert len(quote("x" * 10_000)) < 100
    assert quote("x" * 10_000).endswith("...")


def test_near_words_only():
    assert suggest_word("ATHELETE", ["athlete", "id"]) == " - did you mean 'athlete'?"
    assert suggest_word("colour", ["athlete", "id"]) == ""
    assert suggest_word("x", []) == ""
