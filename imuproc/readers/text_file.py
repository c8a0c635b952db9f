"""Bytes of a text log: decompressed, as UTF-8, lines ended by a line feed."""

import codecs
import gzip
import zlib
from pathlib import Path
from typing import Final

from imuproc.core.errors import LogError

_GZIP: Final = b"\x1f\x8b"
# UTF-32 first: its little-endian mark begins like that of UTF-16.
_MARKS: Final[tuple[tuple[bytes, str], ...]] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def read_text(path: Path, encoding: str | None) -> bytes:
    """Whole text of a file.

    Parameters
    ----------
    path : Path
        Compressed by gzip or not; the content tells, not the name.
    encoding : str or None
        As stated in the layout. A byte-order mark wins over it; without either, UTF-8.

    Returns
    -------
    bytes
        UTF-8 without byte-order mark, lines ended by ``\\n``. Where no encoding is stated, bytes
        that are not UTF-8 stay as they are: numbers do not need them.

    Raises
    ------
    LogError
        Compressed data are cut short or damaged, or the text is not in the encoding.
    OSError
        The file cannot be read.
    """
    raw = path.read_bytes()
    if raw.startswith(_GZIP):
        raw = _decompressed(raw)
    data = _as_utf8(raw, encoding)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data


def _decompressed(raw: bytes) -> bytes:
    try:
        return gzip.decompress(raw)
    except EOFError:
        raise LogError(
            "the compressed file is cut short: it ends before its end mark; copy it again"
        ) from None
    except (OSError, zlib.error) as error:
        raise LogError(f"the compressed file is damaged: {error}") from error


def _as_utf8(raw: bytes, encoding: str | None) -> bytes:
    for mark, marked in _MARKS:
        if raw.startswith(mark):
            raw, encoding = raw[len(mark) :], marked
            break
    if encoding is None or codecs.lookup(encoding).name == "utf-8":
        return raw
    try:
        return raw.decode(encoding).encode("utf-8")
    except ValueError as error:  # UnicodeError of either step
        raise LogError(
            f"the text is not {encoding}: {error}; allowed: the encoding that the file has, "
            "stated in the layout"
        ) from error


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
