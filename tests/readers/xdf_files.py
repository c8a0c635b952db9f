"""XDF files as small as they may be, written by the published form of XDF 1.0 and by nothing else.

A chunk is the length of what follows (1 byte how many bytes the length has, then the length), a tag
of 2 bytes, and the content; little-endian. Tags: 1 file header, 2 stream header, 3 samples, 4 clock
offset, 6 stream footer.
"""

import struct
from dataclasses import dataclass, field

import numpy as np

_FORMATS = {"double64": "<f8", "float32": "<f4", "int16": "<i2", "int32": "<i4", "int64": "<i8"}


@dataclass(frozen=True)
class Stream:
    """One stream to write: stamps in s, values of shape (n, channels)."""

    name: str
    stamps: np.ndarray
    values: np.ndarray
    labels: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    format: str = "double64"
    offsets: tuple[tuple[float, float], ...] = ()
    footer: bool = True
    nominal_srate: float = 0.0
    samples_per_chunk: int = field(default=50)


def _chunk(tag: int, content: bytes) -> bytes:
    length = len(content) + 2
    size = struct.pack("<BB", 1, length) if length < 256 else struct.pack("<BI", 4, length)
    return size + struct.pack("<H", tag) + content


def _header(stream: Stream) -> bytes:
    units = stream.units or ("",) * len(stream.labels)
    channels = "".join(
        f"<channel><label>{label}</label><unit>{unit}</unit></channel>"
        for label, unit in zip(stream.labels, units, strict=True)
    )
    return (
        f"<?xml version='1.0'?><info><name>{stream.name}</name><type>IMU</type>"
        f"<channel_count>{stream.values.shape[1]}</channel_count>"
        f"<nominal_srate>{stream.nominal_srate}</nominal_srate>"
        f"<channel_format>{stream.format}</channel_format>"
        f"<desc><channels>{channels}</channels></desc></info>"
    ).encode()


def _samples(stream: Stream, start: int) -> bytes:
    stamps = stream.stamps[start : start + stream.samples_per_chunk]
    values = stream.values[start : start + stream.samples_per_chunk]
    kind = _FORMATS[stream.format]
    rows = [
        struct.pack("<Bd", 8, stamp) + row.astype(kind).tobytes()
        for stamp, row in zip(stamps, values, strict=True)
    ]
    return struct.pack("<BI", 4, len(rows)) + b"".join(rows)


def xdf(*streams: Stream) -> bytes:
    """A whole file; chunks of the streams in turn."""
    parts = [b"XDF:", _chunk(1, b"<?xml version='1.0'?><info><version>1.0</version></info>")]
    ids = [struct.pack("<I", number) for number in range(1, len(streams) + 1)]
    parts += [_chunk(2, id + _header(stream)) for id, stream in zip(ids, streams, strict=True)]
    longest = max(len(stream.stamps) for stream in streams)
    for start in range(0, longest, streams[0].samples_per_chunk):
        for id, stream in zip(ids, streams, strict=True):
            if start < len(stream.stamps):
                parts.append(_chunk(3, id + _samples(stream, start)))
    for id, stream in zip(ids, streams, strict=True):
        parts += [_chunk(4, id + struct.pack("<dd", *offset)) for offset in stream.offsets]
        if stream.footer:
            parts.append(_chunk(6, id + b"<?xml version='1.0'?><info></info>"))
    return b"".join(parts)
