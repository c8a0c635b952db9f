from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imuproc.results.archive.schema import Explained
from imuproc.results.archive.values import (
    read_attribute,
    read_columns,
    read_table,
    write_array,
    write_attribute,
    write_columns,
    write_table,
)

ANY_TEXT = st.text(alphabet=st.characters(codec=None))  # NUL and halves of pairs included
NOTHING = Explained("", "")

quick = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def memory() -> h5py.File:
    return h5py.File("memory", "w", driver="core", backing_store=False)


@quick
@given(words=st.lists(st.none() | ANY_TEXT))
def test_words_come_back_as_they_were(words: list[str | None]) -> None:
    with memory() as file:
        write_columns(file, "table", {"word": np.array(words, dtype=object)}, lambda _name: NOTHING)
        assert read_columns(file["table"]) == {"word": words}


@quick
@given(text=st.text(alphabet=st.characters(exclude_characters="\0", codec="utf-8")))
def test_attributes_come_back_as_they_were(text: str) -> None:
    with memory() as file:
        write_attribute(file, "text", text)
        assert read_attribute(file, "text") == text


@quick
@given(
    rows=st.lists(
        st.tuples(
            st.integers(-(2**63), 2**63 - 1),
            st.floats(),
            st.floats(width=32),
            st.booleans(),
            st.none() | ANY_TEXT,
        ),
        max_size=8,
    )
)
def test_tables_come_back_as_they_were(rows: list[tuple[Any, ...]]) -> None:
    columns = list(zip(*rows, strict=True)) or [()] * 5
    table = pd.DataFrame(
        {
            "whole": pd.Series(columns[0], dtype="int64"),
            "figure": pd.Series(columns[1], dtype="float64"),
            "short": pd.Series(columns[2], dtype="float32"),
            "truth": pd.Series(columns[3], dtype="bool"),
            "word": pd.Series(list(columns[4]), dtype="object"),
        }
    )
    with memory() as file:
        write_table(file, "table", table, lambda _name: NOTHING)
        back = read_table(file["table"])
    words = [None if isinstance(word, float) else word for word in back.pop("word").tolist()]
    assert words == list(columns[4])
    pd.testing.assert_frame_equal(back, table.drop(columns="word"), check_exact=True)


def test_a_table_of_words_keeps_its_types_and_its_order(tmp_path: Path) -> None:
    table = pd.DataFrame({"z": ["é", "", "日本"], "a": [1.0, np.nan, 3.0], "m": ["x", "y", "z"]})
    with memory() as file:
        write_table(file, "table", table, lambda _name: NOTHING)
        pd.testing.assert_frame_equal(read_table(file["table"]), table, check_exact=True)


@pytest.mark.parametrize("shape", [(), (0,), (0, 3), (5, 3), (40_000,), (40_000, 4)])
@pytest.mark.parametrize("dtype", ["<f4", "<f8"])
def test_arrays_of_any_size_come_back(shape: tuple[int, ...], dtype: str) -> None:
    values = np.asarray(np.random.default_rng(3).standard_normal(shape))
    values[values > 2.0] = np.nan
    with memory() as file:
        write_array(file, "values", values, Explained("m/s²", "Something."), dtype)
        back = file["values"]
        assert back.dtype == np.dtype(dtype)
        np.testing.assert_array_equal(back[()], values.astype(dtype))
        assert read_attribute(back, "unit") == "m/s²"
        assert read_attribute(back, "meaning") == "Something."
        assert (back.compression == "gzip") == (values.size > 2100)
