"""Whether the heap that HDF5 keeps texts of any length in is whole.

The HDF5 library walks a damaged one without end, so it is looked at before the library does. Form
of a collection: HDF5 file format specification 3.0, III.E (global heap).
"""

import mmap
import struct
from functools import lru_cache
from pathlib import Path
from typing import Final

from imuproc.core.errors import LogError

_SIGNATURE: Final = b"GCOL\x01\x00\x00\x00"
_HEADER_BYTES: Final = 16
"""Header of a collection, and of each object in it (HDF5 file format specification 3.0, III.E)."""


def check_heaps(path: Path) -> None:
    """Refuse a file with a damaged heap.

    Raises
    ------
    LogError
        A collection or an object in it reaches beyond its end.
    """
    state = path.stat()
    if not _are_heaps_whole(path, state.st_mtime_ns, state.st_size):
        raise LogError("the file is damaged: a heap of texts in it has no end")


@lru_cache(maxsize=8)
def _are_heaps_whole(path: Path, _changed_ns: int, _size: int) -> bool:
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        start = content.find(_SIGNATURE)
        while start >= 0:
            if not _is_heap_whole(content, start):
                return False
            start = content.find(_SIGNATURE, start + len(_SIGNATURE))
    return True


def _is_heap_whole(content: mmap.mmap, start: int) -> bool:
    if start + _HEADER_BYTES > len(content):
        return False
    (size,) = struct.unpack_from("<Q", content, start + 8)
    if size < _HEADER_BYTES or start + size > len(content):
        return False
    place = _HEADER_BYTES
    while place + _HEADER_BYTES <= size:
        index, _, _, length = struct.unpack_from("<HHIQ", content, start + place)
        # Object 0 is the free space at the end; its length counts its own header.
        taken = length if index == 0 else _HEADER_BYTES + (length + 7) // 8 * 8
        if taken < _HEADER_BYTES or place + taken > size:
            return False
        if index == 0:
            return True
        place += taken
    return True
