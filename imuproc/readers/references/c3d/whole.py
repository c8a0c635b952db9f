"""Is a C3D file whole? Checked before a library reads it that searches damaged ones without end.

Header: 512 bytes. Parameters: a chain of records, each with its name and the way to the next one.
What they say of the data must fit into the file. The numbers of the format are from memory and
compared in the tests with two libraries that write it.
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from pathlib import Path
from typing import Final

from imuproc.core.errors import LogError

_KEY_BYTE: Final = 0x50
"""Second byte of every C3D file."""
_BLOCK_BYTES: Final = 512
"""Length of a block, in which the format counts places."""
_DEC, _BIG_ENDIAN = 85, 86
"""Processor types; 84 is the usual little-endian one."""
_TYPE_BYTES: Final = {-1: 1, 1: 1, 2: 2, 4: 4}
"""Length of a value by the type of a parameter: text, byte, integer, floating point."""
_LARGEST_WORD: Final = 0xFFFF
"""Largest frame number that the header can hold."""
_MAX_SAMPLES_PER_FRAME: Final = 10_000
"""Samples of a signal per frame: ten times what 1 Hz of frames and 1 kHz of signals give."""


@dataclass(frozen=True)
class _Parameter:
    """A parameter as its record has it: the type of its values, and their bytes."""

    kind: int
    body: bytes

    def to_numbers(self, processor: int) -> list[float]:
        """Values; integers without sign, as counts and channels are. A text has none."""
        order = ">" if processor == _BIG_ENDIAN else "<"
        body = self.body
        if self.kind == 4 and processor == _DEC:
            # The two words of a number are exchanged, and its exponent is 2 higher.
            words = struct.unpack(f"<{len(body) // 2}H", body)
            swapped = [word for pair in zip(words[1::2], words[::2], strict=True) for word in pair]
            values = struct.unpack(f"<{len(body) // 4}f", struct.pack(f"<{len(words)}H", *swapped))
            return [value / 4.0 for value in values]
        letter = {1: "B", 2: "H", 4: "f"}.get(self.kind)
        if letter is None:
            return []
        return list(struct.unpack(f"{order}{len(body) // _TYPE_BYTES[self.kind]}{letter}", body))


@dataclass(frozen=True)
class _Head:
    """What the first block and the first bytes of the parameters say."""

    section: int
    processor: int
    points: int
    analogs: int
    frames: int
    begin: int
    is_float: bool


def check_c3d(path: Path) -> None:
    """Refuse what is no whole C3D file.

    Parameters
    ----------
    path : Path

    Raises
    ------
    LogError
        It is no C3D file, is cut short, or header or parameters are damaged.
    OSError
        The file cannot be read.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        first = file.read(_BLOCK_BYTES)
        if len(first) < _BLOCK_BYTES or first[1] != _KEY_BYTE or first[0] < 2:
            raise LogError("this is not a C3D file, or it is cut short; allowed: a C3D file")
        start = (first[0] - 1) * _BLOCK_BYTES
        file.seek(start)
        opening = file.read(4)
        if len(opening) < 4:
            raise LogError(
                f"the C3D file is cut short: found {size} bytes; allowed: "
                f"{start + _BLOCK_BYTES} or more"
            )
        head = _parse_head(first, start, opening[3])
        end = (head.begin - 1) * _BLOCK_BYTES
        if end <= start:
            raise LogError(
                f"the C3D file is damaged: its data begin in block {head.begin}, its parameters "
                f"in block {first[0]}; allowed: parameters before the data"
            )
        _check_length(head, head.frames, head.points, head.analogs, size)
        section = opening + file.read(end - start - 4)
    parameters = _parse_parameters(section, head.processor)
    _check_sizes(_Values(parameters, head.processor), head, size)


def _parse_head(first: bytes, start: int, processor: int) -> _Head:
    if processor not in (84, _DEC, _BIG_ENDIAN):
        raise LogError(
            f"the C3D file is damaged: found processor type {processor}; allowed: 84 to 86"
        )
    order = ">" if processor == _BIG_ENDIAN else "<"
    word = struct.unpack(f"{order}10H", first[:20])
    scale = _Parameter(4, first[12:16]).to_numbers(processor)[0]
    # Above 65535 the header's frame numbers end; then nothing can be said from them.
    frames = max(word[4] - word[3] + 1, 0) if word[4] < _LARGEST_WORD else 0
    return _Head(start, processor, word[1], word[2], frames, word[8], scale < 0.0)


def _check_length(head: _Head, frames: int, points: int, analogs: int, size: int) -> None:
    """Refuse a file that is too short for as many values as stated."""
    need = (head.begin - 1) * _BLOCK_BYTES + frames * (4 * points + analogs) * (
        4 if head.is_float else 2
    )
    if size < need:
        raise LogError(f"the C3D file is cut short: found {size} bytes; allowed: {need}")


def _parse_parameters(section: bytes, processor: int) -> dict[str, _Parameter]:
    """Parameters by ``GROUP:NAME``; every record must end before the next begins."""
    order = ">" if processor == _BIG_ENDIAN else "<"
    groups: dict[int, str] = {}
    found: list[tuple[int, str, _Parameter]] = []
    place, count = 4, 0
    while place + 1 < len(section) and section[place]:
        count += 1
        length, number = struct.unpack("2b", section[place : place + 2])
        name = section[place + 2 : place + 2 + abs(length)]
        pointer = place + 2 + abs(length)
        if length == -128 or number == 0 or pointer + 3 > len(section) or not _is_name(name):
            raise _make_record_error(count, place)
        step = struct.unpack(f"{order}H", section[pointer : pointer + 2])[0]
        following = pointer + step if step else len(section)
        text = name.decode("ascii").upper()
        if number < 0:
            done = pointer + 3 + section[pointer + 2]
            groups[-number] = text
        else:
            parameter, done = _parse_parameter(section, pointer + 2)
            if parameter.kind == -1 and not section[pointer + 3]:  # it would crash the library
                raise LogError(
                    f"the C3D file is damaged: the text {groups.get(number, '')}:{text} has no "
                    "dimensions; allowed: one or more"
                )
            found.append((number, text, parameter))
        # A step that a signed word cannot hold must be right to the byte: it may be read as one.
        if done > following or following > len(section) or (step > 0x7FFF and done != following):
            raise _make_record_error(count, place)
        place = following
    return {f"{groups.get(number, '')}:{name}": one for number, name, one in found}


def _is_name(name: bytes) -> bool:
    return name.isascii() and name.decode("ascii").isprintable()


def _make_record_error(count: int, place: int) -> LogError:
    return LogError(
        f"the C3D file is damaged: record {count} of its parameters (at byte {place} of their "
        "section) does not end where the next begins"
    )


def _parse_parameter(section: bytes, place: int) -> tuple[_Parameter, int]:
    """A parameter and where its record ends; past the section where it is damaged."""
    beyond = _Parameter(1, b""), len(section) + 1
    if place + 2 > len(section):
        return beyond
    kind, rank = struct.unpack("bB", section[place : place + 2])
    begin = place + 2 + rank
    if kind not in _TYPE_BYTES or rank > 7 or begin > len(section):
        return beyond
    end = begin + _TYPE_BYTES[kind] * prod(section[place + 2 : begin])
    if end >= len(section):
        return beyond
    return _Parameter(kind, section[begin:end]), end + 1 + section[end]


@dataclass(frozen=True)
class _Values:
    """Parameters by ``GROUP:NAME``, and the processor type that tells how numbers are written."""

    parameters: Mapping[str, _Parameter]
    processor: int

    def get_numbers(self, name: str) -> list[float]:
        """Numbers of a parameter; none where it is not there."""
        parameter = self.parameters.get(name)
        return parameter.to_numbers(self.processor) if parameter else []

    def get_first(self, name: str) -> float:
        """First number of a parameter; 0 where it is not there."""
        return next(iter(self.get_numbers(name)), 0.0)

    def get_count(self, name: str) -> int:
        """First number of a parameter as a count.

        Raises
        ------
        LogError
            It is no whole number.
        """
        value = self.get_first(name)
        if not (value >= 0.0 and value == round(min(value, 1e9))):
            raise LogError(f"the C3D file is damaged: {name} is {value:g}; allowed: a whole number")
        return int(value)


def _check_sizes(values: _Values, head: _Head, size: int) -> None:
    """Counts in the parameters must fit the file's length and each other."""
    points, channels = values.get_count("POINT:USED"), values.get_count("ANALOG:USED")
    frames = values.get_count("POINT:FRAMES")
    point_hz, analog_hz = values.get_first("POINT:RATE"), values.get_first("ANALOG:RATE")
    for name, rate in (("POINT:RATE", point_hz), ("ANALOG:RATE", analog_hz)):
        if not 0.0 <= rate < 1e7:
            raise LogError(f"the C3D file is damaged: {name} is {rate:g}; allowed: a rate in Hz")
    per_frame = analog_hz / point_hz if point_hz and channels else 0.0
    if per_frame > _MAX_SAMPLES_PER_FRAME or (channels and point_hz and round(per_frame) < 1):
        raise LogError(
            f"the C3D file is damaged: ANALOG:RATE is {analog_hz:g}, POINT:RATE {point_hz:g}; "
            f"allowed: 1 to {_MAX_SAMPLES_PER_FRAME} samples per frame"
        )
    turns = values.get_count(
        "ROTATION:RATIO"
    )  # the library turns as often even without any of them
    if turns > _MAX_SAMPLES_PER_FRAME // 100:
        raise LogError(
            f"the C3D file is damaged: ROTATION:RATIO is {turns}; allowed: at most "
            f"{_MAX_SAMPLES_PER_FRAME // 100}"
        )
    _check_length(head, frames, points, channels * round(per_frame), size)
    _check_length(head, head.frames, points, channels * round(per_frame), size)
    for name in ("ANALOG:SCALE", "ANALOG:OFFSET"):
        found = sum(len(values.get_numbers(f"{name}{more}")) for more in ("", *range(2, 100)))
        if found < channels:  # the library would read beyond them
            raise LogError(
                f"the C3D file is damaged: {name} holds {found} numbers for {channels} signals; "
                f"allowed: {channels} or more"
            )
    _check_plates(values, channels)


def _check_plates(values: _Values, channels: int) -> None:
    plates = values.get_count("FORCE_PLATFORM:USED")
    have = [
        (name, len(values.get_numbers(f"FORCE_PLATFORM:{name}")), least)
        for name, least in (("TYPE", 1), ("CORNERS", 12), ("ORIGIN", 3), ("CHANNEL", 6))
    ]
    for name, found, least in have if plates else []:
        if found < least * plates:
            raise LogError(
                f"the C3D file is damaged: FORCE_PLATFORM:{name} holds {found} numbers for "
                f"{plates} plates; allowed: {least * plates} or more"
            )
    wired = values.get_numbers("FORCE_PLATFORM:CHANNEL") if plates else []
    bad = next((number for number in wired if not 0 <= number <= channels), None)
    if bad is not None:
        raise LogError(
            f"the C3D file is damaged: FORCE_PLATFORM:CHANNEL names signal {bad:g}; allowed: 1 to "
            f"{channels}"
        )
