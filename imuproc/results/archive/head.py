"""The head of an archive: 512 bytes of plain text that tell whether the rest is whole.

The rest is plain HDF5, which allows such a block before its own content. The form of the head is
the same for every schema, for ever.
"""

import hashlib
import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

from imuproc.core.errors import ArchiveError

HEAD_BYTES: Final = 512
"""Of the head: the least user block that HDF5 allows (HDF5 file format, from memory)."""

_NAME: Final = b"imuproc archive"
_FORM: Final = re.compile(
    rb"imuproc archive; schema ([0-9]{1,9}); ([0-9]{1,18}) bytes after this block; "
    rb"sha256 ([0-9a-f]{64})\n"
)
_NOTE: Final = "HDF5 begins at byte 512; any HDF5 reader opens this file.\n"
_WHAT_TO_DO: Final = "take it from a copy, or make it again with `imuproc process`"


class _Head(NamedTuple):
    """What a head states of the content behind it."""

    schema: int
    length_bytes: int
    digest: str


def seal_archive(path: Path, schema: int) -> None:
    """Write the head of an HDF5 file that was made with room for it.

    Parameters
    ----------
    path : Path
        Closed HDF5 file with a user block of 512 bytes.
    schema : int
        Version of the layout within.
    """
    with path.open("r+b") as file:
        file.seek(HEAD_BYTES)
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        length = file.tell() - HEAD_BYTES
        file.seek(0)
        file.write(_format_head(_Head(schema, length, digest)))


def verify_archive(path: Path) -> int:
    """See that an archive is whole: every byte of it, read in pieces.

    Parameters
    ----------
    path : Path

    Returns
    -------
    int
        Schema that the head names.

    Raises
    ------
    ArchiveError
        The file cannot be read, is no archive, is cut off, or any bit of it has changed.
    """
    with _open_readable(path) as file:
        head = file.read(HEAD_BYTES)
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        length = file.tell() - HEAD_BYTES
    stated = _parse_head(path, head)
    _require_whole(path, stated, length, digest)
    return stated.schema


def read_stated_digest(path: Path) -> str:
    """SHA-256 of the content of an archive as its head states it; the content is not read.

    Raises
    ------
    ArchiveError
        The file cannot be read or is no archive.
    """
    with _open_readable(path) as file:
        head = file.read(HEAD_BYTES)
    return _parse_head(path, head).digest


@contextmanager
def _open_readable(path: Path) -> Iterator[io.BufferedReader]:
    try:
        with path.open("rb") as file:
            yield file
    except OSError as error:
        raise ArchiveError(f"{path}: cannot be read ({error.strerror or error})") from error


def _format_head(head: _Head) -> bytes:
    text = (
        f"{_NAME.decode()}; schema {head.schema}; {head.length_bytes} bytes after this block; "
        f"sha256 {head.digest}\n{_NOTE}"
    )
    return (text + " " * (HEAD_BYTES - 1 - len(text)) + "\n").encode("ascii")


def _parse_head(path: Path, head: bytes) -> _Head:
    if len(head) < HEAD_BYTES:
        begins = _NAME.startswith(head[: len(_NAME)])
        if not begins:
            raise ArchiveError(f"{path}: is no archive of imuproc")
        raise ArchiveError(
            f"{path}: is cut off, only {len(head)} bytes are left of it; {_WHAT_TO_DO}"
        )
    form = _FORM.match(head)
    if form is None:
        raise ArchiveError(
            f"{path}: is no archive of imuproc, or its head is damaged; if it was one, "
            f"{_WHAT_TO_DO}"
        )
    stated = _Head(int(form[1]), int(form[2]), form[3].decode())
    if _format_head(stated) != head:
        raise ArchiveError(f"{path}: is damaged in its head; {_WHAT_TO_DO}")
    return stated


def _require_whole(path: Path, stated: _Head, length: int, digest: str) -> None:
    if length < stated.length_bytes:
        raise ArchiveError(
            f"{path}: is cut off, {length} of {stated.length_bytes} bytes are there; {_WHAT_TO_DO}"
        )
    if length > stated.length_bytes:
        raise ArchiveError(
            f"{path}: is damaged, {length - stated.length_bytes} bytes are there that were not "
            f"written; {_WHAT_TO_DO}"
        )
    if digest != stated.digest:
        raise ArchiveError(
            f"{path}: is damaged, its content is not what was written (SHA-256 differs); "
            f"{_WHAT_TO_DO}"
        )
