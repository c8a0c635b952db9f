"""Flags as a table of an archive, and back: what was found as data, and beside it in words."""

from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import STEP_COLUMNS
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag
from imuproc.results.archive.plain import from_json, to_json
from imuproc.results.archive.schema import explain_flag_column
from imuproc.results.archive.values import read_columns, write_columns


def write_flags(group: h5py.Group, flags: tuple[RaisedFlag, ...]) -> None:
    """Write the flags of a run as the table ``flags``."""
    known = [FLAGS.get(flag.name) for flag in flags]
    texts: dict[str, list[str]] = {
        "name": [flag.name for flag in flags],
        "values": [to_json(flag.values) for flag in flags],
        "detail": [describe_flag(flag) for flag in flags],
        "site": [flag.site for flag in flags],
        "run": [flag.run for flag in flags],
        "sentence": [flag.sentence if flag else "" for flag in known],
        "advice": [flag.advice if flag else "" for flag in known],
    }
    spans_s = np.array([flag.span_s or (np.nan, np.nan) for flag in flags]).reshape(-1, 2)
    columns: dict[str, NDArray[Any]] = {
        **{name: np.array(words, dtype=object) for name, words in texts.items()},
        "step": np.array([flag.step or 0 for flag in flags], dtype=np.int64),
        "from_s": spans_s[:, 0],
        "to_s": spans_s[:, 1],
    }
    write_columns(group, "flags", columns, explain_flag_column)


def read_flags(group: h5py.Group) -> tuple[RaisedFlag, ...]:
    """Flags that :func:`write_flags` wrote; of schema 1 their words, and the figures withheld."""
    kept = read_columns(group["flags"])
    none = np.full(len(kept["name"]), np.nan)
    found = (
        [from_json(text) for text in kept["values"]]
        if "values" in kept
        else [_parse_words(words) for words in kept["detail"]]
    )
    ends_s = zip(kept.get("from_s", none), kept.get("to_s", none), strict=True)
    spans_s = [None if np.isnan(a) else (float(a), float(b)) for a, b in ends_s]
    rows = zip(kept["name"], found, kept["site"], kept["step"], kept["run"], spans_s, strict=True)
    return tuple(
        RaisedFlag(name, values, site, int(step) or None, run, span_s)
        for name, values, site, step, run, span_s in rows
    )


def _parse_words(words: str) -> dict[str, str]:
    if not words:
        return {}
    return {"figure": words} if words in STEP_COLUMNS else {"detail": words}
