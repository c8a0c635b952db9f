"""TOML that is written reads as what was written."""

import datetime
import math
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imuproc.files.toml_writing import format_toml

# Halves of surrogate pairs cannot be written as UTF-8; no TOML file holds them.
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
PLAIN = (
    TEXTS
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False)
    | st.dates()
    | st.times()
    | st.datetimes(timezones=st.none() | st.just(datetime.UTC))
)
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(TEXTS, VALUES, max_size=5))
def test_reading_gives_what_was_written(content):
    assert tomllib.loads(format_toml(content)) == content


def test_as_people_write_it():
    content = {
        "schema": 1,
        "session": {"id": "a", "date": datetime.date(2031, 4, 12)},
        "layout": {"one": {"format": "hdf5"}, "two words": {"time": {"unit": "s"}}},
        "run": [{"id": "R07-01", "logs": {"left_foot": {"file": "a.h5"}}}, {"id": "R07-02"}],
    }
    assert format_toml(content).splitlines() == [
        "schema = 1",
        "",
        "[session]",
        'id = "a"',
        "date = 2031-04-12",
        "",
        "[layout.one]",
        'format = "hdf5"',
        "",
        '[layout."two words"]',
        'time = {unit = "s"}',
        "",
        "[[run]]",
        'id = "R07-01"',
        'logs = {left_foot = {file = "a.h5"}}',
        "",
        "[[run]]",
        'id = "R07-02"',
    ]


def test_numbers_that_are_none():
    assert math.isnan(tomllib.loads(format_toml({"a": float("nan")}))["a"])


def test_what_toml_has_not():
    with pytest.raises(TypeError, match="NoneType"):
        format_toml({"a": None})
