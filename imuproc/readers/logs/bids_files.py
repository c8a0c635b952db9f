"""Files beside a BIDS motion recording: channels, metadata, time of day.

By the inheritance principle of BIDS a file nearer to the recording wins, and files further up may
leave out entities of the name.
"""

import csv
import datetime
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from imuproc.core.errors import LogError
from imuproc.files.wording import quote, quote_all

MOTION: Final = "_motion.tsv"
CHANNELS: Final = "_channels.tsv"
MISSING: Final = "n/a"
CHANNEL_COLUMNS: Final = ("name", "component", "type", "tracked_point", "units")

_SCANS: Final = "sub-*_scans.tsv"
_ROOT: Final = "dataset_description.json"
_MAX_LEVEL_COUNT: Final = 4
"""Folders from a recording up to its data set: motion, session, subject, data set (BIDS 1.10)."""


@dataclass(frozen=True)
class Channel:
    """One row of ``_channels.tsv``; ``place`` is its column in the recording, from 0."""

    place: int
    cells: dict[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, MISSING)

    @property
    def name(self) -> str:
        """Name as in the file."""
        return self["name"]


def is_motion_file(path: Path) -> bool:
    """Whether a file is named as BIDS names recordings of motion."""
    return path.name.endswith(MOTION)


def read_channels(path: Path) -> tuple[Channel, ...]:
    """Channels of a recording, in the order of its columns.

    Parameters
    ----------
    path : Path
        The ``_motion.tsv``.

    Raises
    ------
    LogError
        There is no ``_channels.tsv``, or it lacks a column that BIDS requires.
    """
    found = next(_find_files_beside(path, CHANNELS), None)
    if found is None:
        wanted = path.name.removesuffix(MOTION) + CHANNELS
        raise LogError(f"found no {quote(wanted)}, which says what the columns are")
    rows = _read_tsv(found)
    if not rows:
        raise LogError(f"{found.name}: found no channels")
    lacking = [column for column in CHANNEL_COLUMNS if column not in rows[0]]
    if lacking:
        raise LogError(f"{found.name}: missing columns: {quote_all(lacking)}")
    return tuple(Channel(place, row) for place, row in enumerate(rows))


def read_metadata(path: Path) -> dict[str, Any]:
    """What the ``_motion.json`` files of a recording say together; nothing where there are none.

    Raises
    ------
    LogError
        One of them is not a JSON object.
    """
    together: dict[str, Any] = {}
    for found in _find_files_beside(path, "_motion.json"):
        try:
            content = json.loads(found.read_bytes())
        except (ValueError, RecursionError) as error:
            raise LogError(f"{found.name}: this is not JSON: {error}") from error
        if not isinstance(content, dict):
            raise LogError(f"{found.name}: allowed: a JSON object")
        together = {**content, **together}
    return together


def read_onset(path: Path) -> datetime.datetime | None:
    """When the recording began, from ``_scans.tsv``; None where it does not say.

    Raises
    ------
    LogError
        The row of this recording holds something else than a date and time.
    """
    folder = path.parent.parent
    for scans in sorted(folder.glob(_SCANS)):
        for row in _read_tsv(scans):
            if row.get("filename") != f"{path.parent.name}/{path.name}":
                continue
            text = row.get("acq_time", MISSING)
            return None if text == MISSING else parse_instant(text, f"{scans.name}, acq_time")
    return None


def list_files_beside(path: Path) -> list[Path]:
    """Every file beside a recording that what is read from it depends on."""
    channels = list(_find_files_beside(path, CHANNELS))[:1]
    scans = sorted(path.parent.parent.glob(_SCANS))
    return [*channels, *_find_files_beside(path, "_motion.json"), *scans]


def parse_instant(text: str, where: str) -> datetime.datetime:
    """A date and time by ISO 8601; LogError where it is none."""
    try:
        return datetime.datetime.fromisoformat(text)
    except ValueError:
        raise LogError(
            f"{where}: found {quote(text)}; allowed: a date and time such as 2031-04-12T09:30:00Z"
        ) from None


def _read_tsv(path: Path) -> list[dict[str, str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
        rows = csv.DictReader(
            text.splitlines(), delimiter="\t", quoting=csv.QUOTE_NONE, restval=MISSING
        )
        return [{str(k): str(v).strip() for k, v in row.items()} for row in rows]
    except (ValueError, csv.Error) as error:
        raise LogError(f"{path.name}: this is not a table in UTF-8: {error}") from error


def _find_files_beside(path: Path, ending: str) -> Iterator[Path]:
    """Files that concern a recording, the nearest first; none from outside its dataset."""
    entities = set(path.name.removesuffix(MOTION).split("_"))
    for folder in _list_search_folders(path):
        fitting = []
        for other in folder.glob(f"*{ending.removeprefix('_')}"):
            own = {part for part in other.name[: -len(ending)].split("_") if part}
            if other.name.endswith(ending) and own <= entities:
                fitting.append((len(own), other))
            elif other.name == ending.removeprefix("_"):
                fitting.append((0, other))
        yield from (other for _, other in sorted(fitting, reverse=True))


def _list_search_folders(path: Path) -> list[Path]:
    folders = list(path.parents)[:_MAX_LEVEL_COUNT]
    for depth, folder in enumerate(folders):
        if (folder / _ROOT).is_file():
            return folders[: depth + 1]
    return folders[:1]
