"""Arrays, words and tables in HDF5, each with its unit and its meaning, and back."""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import h5py
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.results.archive.plain import from_json, to_json
from imuproc.results.archive.schema import TEXTS, Explained

Explain = Callable[[str], Explained]

_CHUNK_ROW_COUNT: Final = 16384
"""Rows of a chunk, and of what is converted at a time; chosen: 64 kB of float32 a column."""
_SMALL_BYTES: Final = 8192
"""Up to this size an array is in one piece: chunks would cost more than they save."""

_PACKED: Final[Mapping[str, Any]] = {"compression": "gzip", "compression_opts": 1, "shuffle": True}

_JSON: Final = "json"


def write_array(
    group: h5py.Group, name: str, values: NDArray[Any], explained: Explained, dtype: str
) -> None:
    """Write an array, compressed when it is not small, without a converted copy of the whole.

    Parameters
    ----------
    group : h5py.Group
    name : str
    values : ndarray
    explained : Explained
    dtype : str
        Type in the file, such as ``<f4``.
    """
    if values.size * np.dtype(dtype).itemsize <= _SMALL_BYTES:
        dataset = group.create_dataset(name, data=values.astype(dtype), track_times=False)
    else:
        # Each column in its own chunks, shuffled: a smooth curve takes a third less room.
        dataset = group.create_dataset(
            name,
            shape=values.shape,
            dtype=dtype,
            chunks=(min(len(values), _CHUNK_ROW_COUNT), *(1 for _ in values.shape[1:])),
            track_times=False,
            **_PACKED,
        )
        for start in range(0, len(values), _CHUNK_ROW_COUNT):
            rows = slice(start, start + _CHUNK_ROW_COUNT)
            dataset[rows] = values[rows].astype(dtype)
    _write_explanation(dataset, explained)


def write_columns(
    group: h5py.Group, name: str, columns: Mapping[str, NDArray[Any]], explain: Explain
) -> None:
    """Write columns of equal length as one table, units and meanings in the order of its columns.

    Parameters
    ----------
    group : h5py.Group
    name : str
        Of the table.
    columns : mapping from str to ndarray, shape (n,)
        At least one. Numbers, truth values, or objects that are texts, None or NaN where one is
        missing.
    explain : callable
        Gives unit and meaning of a column.
    """
    prepared: dict[str, NDArray[Any]] = {}
    coded: list[str] = []
    for column, values in columns.items():
        if values.dtype.kind in "fiub":
            prepared[column] = values.astype(values.dtype.newbyteorder("<"), copy=False)
        else:
            prepared[column], plain = _encode_texts(values.tolist())
            coded += [] if plain else [column]
    rows = len(next(iter(prepared.values())))
    table = np.zeros(rows, dtype=[(column, values.dtype) for column, values in prepared.items()])
    for column, values in prepared.items():
        table[column] = values
    packed = _PACKED if table.nbytes > _SMALL_BYTES else {}
    dataset = group.create_dataset(name, data=table, track_times=False, **packed)
    explained = [explain(column) for column in columns]
    _write_list(dataset, "unit", [of.unit for of in explained])
    _write_list(dataset, "meaning", [of.meaning for of in explained])
    write_names(dataset, "json_columns", coded)


def _encode_texts(words: Sequence[Any]) -> tuple[NDArray[Any], bool]:
    """Texts as HDF5 holds them, and whether they are plain: else each is a JSON text.

    Of fixed width: texts of variable length lie in a heap that has no fixed form.
    """
    texts = [word if isinstance(word, str) else None for word in words]
    plain = all(text is not None and _is_storable(text) for text in texts)
    encoded = [((text or "") if plain else json.dumps(text)).encode("utf-8") for text in texts]
    width = max((len(text) for text in encoded), default=1) or 1
    return np.array(encoded, dtype=h5py.string_dtype("utf-8", width)), plain


def _is_storable(text: str) -> bool:
    """Whether HDF5 gives a text back as it was: no NUL and no half of a surrogate pair."""
    return not any(character == "\0" or "\ud800" <= character <= "\udfff" for character in text)


def write_table(group: h5py.Group, name: str, table: pd.DataFrame, explain: Explain) -> None:
    """Write a table as :func:`write_columns` does; its index is not kept."""
    write_columns(group, name, {str(c): table[c].to_numpy() for c in table.columns}, explain)


def read_columns(dataset: h5py.Dataset) -> dict[str, Any]:
    """Columns that :func:`write_columns` wrote: arrays of numbers, lists of texts."""
    table, coded = dataset[()], read_names(dataset, "json_columns")
    columns: dict[str, Any] = {}
    for name in table.dtype.names:
        values = table[name]
        if values.dtype.kind == "S":
            texts = [raw.decode("utf-8") for raw in values.tolist()]
            columns[name] = [json.loads(text) for text in texts] if name in coded else texts
        else:
            columns[name] = values.copy()  # lets go of the rest of the table
    return columns


def read_table(dataset: h5py.Dataset) -> pd.DataFrame:
    """Table that :func:`write_table` wrote, rows numbered from 0."""
    columns = {
        name: _to_text_series(values) if isinstance(values, list) else values
        for name, values in read_columns(dataset).items()
    }
    return pd.DataFrame(columns, index=pd.RangeIndex(len(dataset)))


def _to_text_series(words: list[str | None]) -> "pd.Series[Any]":
    try:
        return pd.Series(words, dtype="str")
    except UnicodeEncodeError:  # halves of surrogate pairs, which this type cannot hold
        return pd.Series(words, dtype="object")


def write_json(group: h5py.Group, name: str, value: Any) -> None:
    """Write nested values as one JSON text."""
    dataset = group.create_dataset(
        name, data=np.bytes_(to_json(value).encode("ascii")), track_times=False
    )
    _write_explanation(dataset, Explained("", TEXTS[name]))
    write_attribute(dataset, "form", _JSON)


def read_json(group: h5py.Group, name: str) -> Any:
    """Nested values that :func:`write_json` wrote."""
    return from_json(group[name][()].decode("ascii"))


def write_attribute(thing: h5py.Group | h5py.Dataset, name: str, text: str) -> None:
    """Write a text beside a group or dataset."""
    encoded = text.encode("utf-8")
    width = max(len(encoded), 1)
    thing.attrs.create(name, np.bytes_(encoded), dtype=h5py.string_dtype("utf-8", width))


def read_attribute(thing: h5py.Group | h5py.Dataset, name: str) -> str:
    """Text beside a group or dataset; empty where there is none."""
    raw = thing.attrs.get(name, b"")
    return raw if isinstance(raw, str) else bytes(raw).decode("utf-8")


def write_names(thing: h5py.Group | h5py.Dataset, attribute: str, names: Sequence[str]) -> None:
    """Write names in their order beside a group or dataset, as a JSON list."""
    write_attribute(thing, attribute, json.dumps(list(names)))


def read_names(thing: h5py.Group | h5py.Dataset, attribute: str) -> list[str]:
    """Names that :func:`write_names` wrote."""
    names: list[str] = json.loads(read_attribute(thing, attribute))
    return names


def _write_list(dataset: h5py.Dataset, name: str, texts: Sequence[str]) -> None:
    encoded, _ = _encode_texts(texts)
    dataset.attrs.create(name, encoded, dtype=encoded.dtype)


def _write_explanation(dataset: h5py.Dataset, explained: Explained) -> None:
    write_attribute(dataset, "unit", explained.unit)
    write_attribute(dataset, "meaning", explained.meaning)
