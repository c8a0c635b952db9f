"""Datasets and attributes in HDF5, looked up without trust: links, shapes, kinds of numbers."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.logs.hdf5.heap import check_heaps
from imuproc.readers.logs.units_stated import check_stated_unit

FloatArray = NDArray[np.float64]

DAMAGE: Final = (OSError, RuntimeError, ValueError, KeyError, TypeError)
"""What h5py raises where a file is damaged."""

_MAX_NAME_COUNT: Final = 30
"""Names that an error lists; chosen: a screen holds them."""


@dataclass(frozen=True, eq=False)
class Dataset:
    """Numbers of one dataset: a column of it where ``field`` names one."""

    item: h5py.Dataset
    name: str
    field: str | None = None

    @property
    def length(self) -> int:
        """How many samples."""
        return int(self.item.shape[0])

    @property
    def unit(self) -> str | None:
        """Unit as the file states it."""
        for name in ("units", "unit"):
            text = read_attribute(self.item, name)
            if isinstance(text, str):
                return text
        return None

    @property
    def full_scale(self) -> float | None:
        """The sensor's range in the dataset's unit."""
        value = read_number(self.item, "range")
        if value is not None and not 0 < value < float("inf"):
            raise LogError(
                f"dataset {quote(self.name)}, attribute range: found {value:g}; allowed: above 0"
            )
        return value

    def check_unit(self, wanted: str) -> None:
        """Refuse a stated unit that is not the layout's."""
        check_stated_unit(self.unit, wanted, f"dataset {quote(self.name)}")

    def read_floats(self, start: int, end: int) -> FloatArray:
        """Some samples as float64, as many columns as the dataset has."""
        return self._read_part(start, end).astype(np.float64)

    def read_stamps(self, start: int, end: int) -> NDArray[Any]:
        """Some samples; whole numbers stay whole, as far as 64 bits with sign hold them."""
        part = self._read_part(start, end)
        fits = part.dtype.kind == "i" or (part.dtype.kind == "u" and part.dtype.itemsize < 8)
        return part.astype(np.int64 if fits else np.float64)

    def _read_part(self, start: int, end: int) -> NDArray[Any]:
        part = self.item[start:end]
        values = np.asarray(part if self.field is None else part[self.field])
        return values if values.ndim > 1 and values.shape[1] > 1 else values.reshape(-1)


def find_dataset(group: h5py.Group, path: str, width: int) -> Dataset:
    """Dataset at a path.

    Parameters
    ----------
    group : h5py.Group
        Where the path begins.
    path : str
        Of a dataset, or of a field in a table.
    width : int
        How many columns it must have, 1 or 3.

    Raises
    ------
    LogError
        Nothing is there, it leads out of the file, it has another shape, or it holds no numbers.
    """
    path = path.strip("/")
    item, field = _find_item(group, path)
    if not isinstance(item, h5py.Dataset):
        names = _list_names(group, h5py.Dataset)
        raise LogError(
            f"found no dataset {quote(path)}{suggest_word(path, names)}; datasets: "
            f"{describe_datasets(group)}"
        )
    if item.external or item.is_virtual or item.file != group.file:
        raise LogError(f"dataset {quote(path)} lies in other files; allowed: all in one file")
    shape, kind = item.shape, item.dtype if field is None else item.dtype[field]
    if kind.kind not in "fiu":
        raise LogError(f"dataset {quote(path)}: found {kind}; allowed: numbers")
    fits = shape is not None and (shape[1:] == (3,) if width == 3 else shape[1:] in ((), (1,)))
    if not fits:
        allowed = "(samples, 3)" if width == 3 else "(samples,)"
        if width == 1 and shape is not None and shape[1:] == (3,):
            allowed += "; one with all three axes stands alone in the layout's list of columns"
        raise LogError(f"dataset {quote(path)}: found the shape {shape}; allowed: {allowed}")
    return Dataset(item, path, field)


def _find_item(group: h5py.Group, path: str) -> tuple[Any, str | None]:
    """What is at a path, and the field where the path ends in one of a table."""
    item: Any = group
    parts = path.split("/")
    for depth, part in enumerate(parts):
        if isinstance(item, h5py.Dataset):
            is_field = depth == len(parts) - 1 and part in (item.dtype.names or ())
            return (item, part) if is_field else (None, None)
        link = item.get(part, getlink=True)
        if isinstance(link, h5py.ExternalLink):
            raise LogError(f"{quote(path)} leads to another file; allowed: all in one file")
        item = item.get(part)
        if item is None:
            return None, None
    return item, None


def _list_names(group: h5py.Group, kind: type[h5py.Dataset | h5py.Group]) -> list[str]:
    """Paths of what a group holds of one kind, at any depth; some where they are many."""
    names: list[str] = []

    def add_name(name: str, item: Any) -> bool | None:
        if isinstance(item, kind):
            names.append(name)
        return True if len(names) > _MAX_NAME_COUNT else None

    group.visititems(add_name)
    return names


def list_groups(group: h5py.Group) -> list[str]:
    """Paths of the groups within a group; the first ones where they are many."""
    return _list_names(group, h5py.Group)[:_MAX_NAME_COUNT]


def describe_datasets(group: h5py.Group) -> str:
    """Names of what a group holds, in words; the first ones where they are many."""
    names = _list_names(group, h5py.Dataset)
    more = ", and more" if len(names) > _MAX_NAME_COUNT else ""
    return (quote_all(names[:_MAX_NAME_COUNT]) or "none") + more


def read_attribute(item: h5py.Group | h5py.Dataset, name: str) -> Any:
    """Attribute as a text or number; None where it is not there."""
    if name not in item.attrs:
        return None
    if item.attrs.get_id(name).dtype.kind == "O":
        check_heaps(Path(item.file.filename))
    value = item.attrs[name]
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    if isinstance(value, np.generic):
        return _to_plain_value(value.item())
    if isinstance(value, np.ndarray) and value.size == 1:
        return _to_plain_value(value.reshape(-1)[0])
    return value


def _to_plain_value(value: Any) -> Any:
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    return value.item() if isinstance(value, np.generic) else value


def read_number(item: h5py.Group | h5py.Dataset, name: str) -> float | None:
    """Attribute that must be a number; None where it is not there."""
    value = read_attribute(item, name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LogError(
            f"{quote(str(item.name))}, attribute {name}: found {value!r}; allowed: a number"
        )
    return float(value)
