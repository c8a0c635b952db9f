"""Nested values as JSON text and back: exact numbers, any Unicode, no clock, no addresses."""

import dataclasses
import datetime
import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from pydantic import BaseModel

_NOT_FINITE: Final = "non-finite"  # JSON has no number for these: {"non-finite": "nan"}
_NUMBERS: Final = {"nan": math.nan, "inf": math.inf, "-inf": -math.inf}


def to_json(value: Any) -> str:
    """JSON text of nested values, in ASCII and in the order given.

    Parameters
    ----------
    value : object
        Mappings, sequences, dataclasses, pydantic models, numpy arrays and scalars, dates, texts,
        numbers, truth values and None, nested as they like.

    Raises
    ------
    TypeError
        Something else is in it.
    """
    return json.dumps(_to_plain(value), allow_nan=False, separators=(", ", ": "))


def hash_values(value: Any) -> str:
    """SHA-256 of nested values, in hexadecimal: the same values, the same number."""
    return hashlib.sha256(to_json(value).encode("ascii")).hexdigest()


def from_json(text: str) -> Any:
    """What :func:`to_json` wrote; sequences come back as lists, dataclasses as dicts."""
    return json.loads(text, object_hook=_restore_number)


def _restore_number(found: dict[str, Any]) -> Any:
    if len(found) == 1 and found.get(_NOT_FINITE) in _NUMBERS:
        return _NUMBERS[found[_NOT_FINITE]]
    return found


def _to_plain(value: Any) -> Any:
    if isinstance(value, float):  # before numpy scalars: float64 is a float
        finite = math.isfinite(value)
        return float(value) if finite else {_NOT_FINITE: repr(float(value))}
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, np.ndarray | np.generic):
        return _to_plain(value.tolist())
    if isinstance(value, BaseModel):
        value = dict(value)
    if isinstance(value, Mapping):
        return {str(key): _to_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_to_plain(item) for item in value]
    if isinstance(value, datetime.date):
        return value.isoformat()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    raise TypeError(f"a value of type {type(value).__name__} cannot be archived")
