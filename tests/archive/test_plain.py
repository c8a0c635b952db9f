import datetime
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imuproc.core.recording import Interval
from imuproc.results.archive.plain import from_json, to_json

LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text(alphabet=st.characters(codec=None))
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@settings(deadline=None)
@given(value=VALUES)
def test_values_come_back_as_they_were(value: Any) -> None:
    text = to_json(value)
    assert from_json(text) == value
    assert text.isascii()


def test_numbers_that_json_lacks_come_back_too() -> None:
    text = to_json({"a": math.nan, "b": [math.inf, -math.inf]})
    json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    back = from_json(text)
    assert math.isnan(back["a"])
    assert back["b"] == [math.inf, -math.inf]


def test_what_the_package_holds_becomes_plain() -> None:
    value = {
        "span": Interval(1.0, 2.5),
        "numbers": (np.float64(0.1), np.int64(3), np.bool_(True), np.array([[1.0, np.nan]])),
        "date": datetime.date(2031, 4, 12),
    }
    back = from_json(to_json(value))
    assert back["span"] == {"start_s": 1.0, "end_s": 2.5}
    assert back["numbers"][:3] == [0.1, 3, True]
    assert math.isnan(back["numbers"][3][0][1])
    assert back["date"] == "2031-04-12"


@pytest.mark.parametrize("value", [Path("a"), {1, 2}, object(), b"bytes", 1j])
def test_anything_else_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match=rf"type {type(value).__name__} cannot be archived"):
        to_json({"a": value})
