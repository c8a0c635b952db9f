"""Bytes of a text log: decompressed, as UTF-8, lines ended by a line feed."""

import codecs
import gzip
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Final

from imuproc.core.errors import LogError

_GZIP: Final = b"\x1f\x8b"
_BLOCK_BYTES: Final = 1 << 21
"""Bytes that are read at a time; chosen: memory stays small, calls few."""
_LONGEST_LINE_BYTES: Final = 1 << 26
"""Without a line end in so many bytes a file is no text; chosen: far beyond any table's line."""
# UTF-32 first: its little-endian mark begins like that of UTF-16.
_MARKS: Final[tuple[tuple[bytes, str], ...]] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class TextBlock:
    """Whole lines of a text log.

    Parameters
    ----------
    body : bytes
        UTF-8 without byte-order mark, lines ended by ``\\n``. Where no encoding is stated, bytes
        that are not UTF-8 stay as they are: numbers do not need them.
    first_line : int
        Number of its first line, from 1 through the whole file.
    is_last : bool
        Whether the file ends with it.
    """

    body: bytes
    first_line: int
    is_last: bool


def read_text_blocks(path: Path, encoding: str | None) -> Iterator[TextBlock]:
    """Text of a file, block after block; never more than a few blocks are in memory.

    Parameters
    ----------
    path : Path
        Compressed by gzip or not; the content tells, not the name.
    encoding : str or None
        As stated in the layout. A byte-order mark wins over it; without either, UTF-8.

    Yields
    ------
    TextBlock
        At least one; the last one has ``is_last``.

    Raises
    ------
    LogError
        Compressed data are cut short or damaged, the text is not in the encoding, or a line is
        so long that the file can be no text.
    OSError
        The file cannot be read.
    """
    pending, rest, first_line = b"", b"", 1
    for text in _to_line_feeds(_to_utf8(_read_blocks(path), encoding)):
        lines, end, new_rest = text.rpartition(b"\n")
        if not end and len(rest) + len(new_rest) > _LONGEST_LINE_BYTES:
            number = first_line + pending.count(b"\n")
            raise LogError(
                f"line {number}: found more than {_LONGEST_LINE_BYTES >> 20} MB without a line "
                "end; allowed: lines of text"
            )
        if end and pending:
            yield TextBlock(pending, first_line, False)
            first_line += pending.count(b"\n")
            pending = b""
        if end:
            pending, rest = rest + lines + end, new_rest
        else:
            rest += new_rest
    yield TextBlock(pending + rest, first_line, True)


def _read_blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        is_compressed = file.read(len(_GZIP)) == _GZIP
        file.seek(0)
        if not is_compressed:
            yield from iter(partial(file.read, _BLOCK_BYTES), b"")
            return
        with gzip.open(file) as unpacked:
            yield from iter(partial(_decompress_block, unpacked), b"")


def _decompress_block(file: gzip.GzipFile) -> bytes:
    try:
        return file.read(_BLOCK_BYTES)
    except EOFError:
        raise LogError(
            "the compressed file is cut short: it ends before its end mark; copy it again, or "
            "unpack what is left of it and name the unpacked file"
        ) from None
    except (gzip.BadGzipFile, zlib.error) as error:
        raise LogError(f"the compressed file is damaged: {error}") from error


def _to_utf8(raw: Iterator[bytes], encoding: str | None) -> Iterator[bytes]:
    first = next(raw, b"")
    for mark, marked in _MARKS:
        if first.startswith(mark):
            first, encoding = first[len(mark) :], marked
            break
    blocks = chain([first], raw)
    if encoding is None or codecs.lookup(encoding).name == "utf-8":
        yield from blocks
        return
    try:
        decoder = codecs.getincrementaldecoder(encoding)()
        for block in blocks:
            yield decoder.decode(block).encode("utf-8")
        yield _flush_decoder(decoder).encode("utf-8")
    except (ValueError, LookupError) as error:  # UnicodeError of either step
        raise LogError(
            f"the text is not {encoding}: {error}; allowed: the encoding that the file has, "
            "stated in the layout"
        ) from error


def _flush_decoder(decoder: codecs.IncrementalDecoder) -> str:
    """What is left at the end of a file; one that is cut within a character ends with a mark."""
    try:
        return decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "\ufffd"


def _to_line_feeds(blocks: Iterator[bytes]) -> Iterator[bytes]:
    carried = b""  # a carriage return at a block's end may be half of a line end
    for block in blocks:
        text = carried + block
        carried = b"\r" if text.endswith(b"\r") else b""
        text = text[: len(text) - len(carried)]
        if b"\r" in text:
            text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        yield text
    if carried:
        yield b"\n"


def looks_like_text(path: Path) -> bool:
    """Whether a file begins like lines of text: no control characters, no markup.

    Compressed files count as text: no other format that we read comes compressed.
    """
    with path.open("rb") as file:
        start = file.read(4096)
    if start.startswith(_GZIP):
        return True
    if any(start.startswith(mark) for mark, _ in _MARKS):
        return True
    stripped = start.lstrip()
    if not stripped or stripped[:1] in b"<{":
        return not stripped  # a file of blanks is an empty text; markup is another format
    return not any(byte < 32 and byte not in b"\t\n\r\f" for byte in start)
