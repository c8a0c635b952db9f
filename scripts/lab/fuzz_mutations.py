"""Small damages to files: what transfer, storage, spreadsheets, editors and people do to them."""

import random
import re
from collections.abc import Callable
from typing import Final

Damage = Callable[[bytes, random.Random], bytes]

_NUMBER: Final = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_WORD: Final = re.compile(rb"[A-Za-z_][A-Za-z_0-9-]*")
_QUOTED: Final = re.compile(rb'"[^"\n]*"')

_NUMBERS: Final = (
    b"nan", b"inf", b"-inf", b"0", b"-0.0", b"-1", b"1e308", b"1e400", b"-1e30", b"1e-320",
    b"999999999999999999999", b"0x1F", b"1_000", b"1,5", b"1.2.3", b"--3", b"", b" ", b"#N/A",
    b"true", b'"7"', b"2031-04-12", b"[1, 2]", b"9" * 400,
)  # fmt: skip
_TEXTS: Final = (
    b"", b'"', b"'", b'"""', b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n", b"\r\n", b"\t",
    b";", b",", b"=", b"[", b"]", b"[[run]]", b"[layout.x]", b"{", b"}", b"#", b"../", b"/dev/zero",
    b"~", b"%s", b"\\u0000", b"<script>", "\u202e".encode(), "\U0001f3c3".encode(), b"a" * 3000,
    b"left_shank", b"right_foot", b"pelvis", b"deg/s", b"rad/s", b"separate", b"jump", b"hdf5",
    b"parquet", b"bids-motion", b"xdf", b"delimited", b"R07-01", b"CON", b".", b"..", b"time_s",
)  # fmt: skip


def _draw_span(content: bytes, draw: random.Random, longest: int) -> tuple[int, int]:
    start = draw.randrange(len(content) + 1)
    return start, min(len(content), start + draw.randint(1, longest))


def _flip_bits(content: bytes, draw: random.Random) -> bytes:
    spoiled = bytearray(content)
    for _ in range(draw.choice((1, 1, 3, 30)) if content else 0):
        spoiled[draw.randrange(len(spoiled))] ^= 1 << draw.randrange(8)
    return bytes(spoiled)


def _cut_end(content: bytes, draw: random.Random) -> bytes:
    return content[: draw.randrange(len(content) + 1)]


def _cut_front(content: bytes, draw: random.Random) -> bytes:
    return content[draw.randrange(len(content) + 1) :]


def _cut_out(content: bytes, draw: random.Random) -> bytes:
    start, end = _draw_span(content, draw, max(1, len(content) // 4))
    return content[:start] + content[end:]


def _repeat_bytes(content: bytes, draw: random.Random) -> bytes:
    start, end = _draw_span(content, draw, max(1, len(content) // 4))
    return content[:end] + content[start:end] + content[end:]


def _zero_bytes(content: bytes, draw: random.Random) -> bytes:
    start, end = _draw_span(content, draw, 4096)
    return content[:start] + bytes(end - start) + content[end:]


def _insert_text(content: bytes, draw: random.Random) -> bytes:
    at = draw.randrange(len(content) + 1)
    return content[:at] + draw.choice(_TEXTS) + content[at:]


def _replace_match(pattern: re.Pattern[bytes], values: tuple[bytes, ...]) -> Damage:
    def damage_content(content: bytes, draw: random.Random) -> bytes:
        # Looks from a random place on: finding all matches of a whole log would take longer than
        # reading it.
        start = draw.randrange(len(content) + 1)
        found = pattern.search(content, start) or pattern.search(content)
        if found is None:
            return _insert_text(content, draw)
        return content[: found.start()] + draw.choice(values) + content[found.end() :]

    return damage_content


def _change_lines(change: Callable[[list[bytes], random.Random], list[bytes]]) -> Damage:
    def damage_content(content: bytes, draw: random.Random) -> bytes:
        lines = content.split(b"\n")
        return b"\n".join(change(lines, draw) if len(lines) > 1 else lines)

    return damage_content


def _swap_lines(lines: list[bytes], draw: random.Random) -> list[bytes]:
    a, b = draw.randrange(len(lines)), draw.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return lines


def _drop_lines(lines: list[bytes], draw: random.Random) -> list[bytes]:
    start = draw.randrange(len(lines))
    return lines[:start] + lines[start + draw.choice((1, 1, 5, len(lines) // 3 + 1)) :]


def _double_lines(lines: list[bytes], draw: random.Random) -> list[bytes]:
    start = draw.randrange(len(lines))
    end = start + draw.choice((1, 1, 5, len(lines) // 3 + 1))
    return lines[:end] + lines[start:end] + lines[end:]


def _cut_cells(lines: list[bytes], draw: random.Random) -> list[bytes]:
    at = draw.randrange(len(lines))
    lines[at] = lines[at][: draw.randrange(len(lines[at]) + 1)]
    return lines


def _change_separator(content: bytes, draw: random.Random) -> bytes:
    return content.replace(b",", draw.choice((b";", b"\t", b" ", b"", b",,", b", ")))


def _change_encoding(content: bytes, draw: random.Random) -> bytes:
    name = draw.choice(("utf-16", "utf-16-be", "utf-8-sig", "cp037"))
    return content.decode("utf-8", "replace").encode(name, "replace")


def _change_endings(content: bytes, draw: random.Random) -> bytes:
    return content.replace(b"\n", draw.choice((b"\r\n", b"\r", b"\n\n", b"")))


ANY_FILE: Final[tuple[Damage, ...]] = (
    _flip_bits, _cut_end, _cut_front, _cut_out, _repeat_bytes, _zero_bytes, _insert_text,
)  # fmt: skip
TEXT_FILE: Final[tuple[Damage, ...]] = (
    *ANY_FILE,
    _replace_match(_NUMBER, _NUMBERS),
    _replace_match(_NUMBER, _NUMBERS),
    _replace_match(_WORD, _TEXTS),
    _replace_match(_QUOTED, _NUMBERS),
    _change_lines(_swap_lines),
    _change_lines(_drop_lines),
    _change_lines(_double_lines),
    _change_lines(_cut_cells),
    _change_separator,
    _change_encoding,
    _change_endings,
)


def spoil_content(content: bytes, draw: random.Random, text: bool) -> bytes:
    """The content with one to four damages, mostly one.

    Parameters
    ----------
    content : bytes
    draw : random.Random
        Same state, same damages.
    text : bool
        Whether damages that only make sense in text are among them.
    """
    for _ in range(draw.choice((1, 1, 1, 2, 4))):
        content = draw.choice(TEXT_FILE if text else ANY_FILE)(content, draw)
    return content
