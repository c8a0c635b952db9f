"""Whatever is thrown at the readers: right values, or an error of ours."""

import gzip
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from imuproc.core.errors import LogError, SessionError
from imuproc.core.units import ACCEL_TO_MPS2, GYRO_TO_RADPS, PER_SECOND
from imuproc.readers.logs.registry import read_log
from imuproc.readers.session import read_session
from tests.readers.samples import (
    LAYOUT,
    NAMES,
    NUMBERED,
    SESSION,
    layout,
    request,
    text,
)

NUMBERS = st.floats(-1e6, 1e6, allow_nan=False)
MISSING = st.just(float("nan"))
ROWS = st.lists(st.tuples(*[NUMBERS] * 2, *[NUMBERS | MISSING] * 5), min_size=2, max_size=8)
WAYS = st.fixed_dictionaries(
    {
        "separator": st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", ","), ("|", ".")]),
        "format": st.sampled_from([repr, "{:.17g}".format, "{:.17e}".format, "{:+.20f}".format]),
        "missing": st.sampled_from(["", "nan", "n/a", "-99999999"]),
        "pad": st.sampled_from(["", " ", "   "]),
        "quote": st.booleans(),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-32"]),
        "end": st.sampled_from(["\n", "\r\n", "\r"]),
        "preamble": st.sampled_from(["", "# a comment\n", "Logger of the field\n\n"]),
        "units": st.booleans(),
        "compress": st.booleans(),
    }
)
UNITS = st.fixed_dictionaries(
    {
        "time": st.sampled_from(sorted(PER_SECOND)),
        "accel": st.sampled_from(sorted(ACCEL_TO_MPS2)),
        "gyro": st.sampled_from(sorted(GYRO_TO_RADPS)),
    }
)


def written(rows, way, units):
    """Bytes of a log as one of many loggers would write it."""
    delimiter, decimal = way["separator"]

    def cell(value):
        plain = way["missing"] if np.isnan(value) else way["format"](float(value))
        plain = plain.replace(".", decimal)
        return way["pad"] + (f'"{plain}"' if way["quote"] else plain) + way["pad"]

    lines = [delimiter.join(NAMES)]
    if way["units"]:
        lines.append(delimiter.join([units["time"], *[units["accel"]] * 3, *[units["gyro"]] * 3]))
    lines += [delimiter.join(map(cell, row)) for row in rows]
    content = (way["preamble"] + "\n".join(lines) + "\n").replace("\n", way["end"])
    data = content.encode(way["encoding"])
    return gzip.compress(data, 1) if way["compress"] else data


@given(rows=ROWS, way=WAYS, units=UNITS)
@settings(max_examples=150, deadline=None)
def test_every_way_of_writing_gives_the_same_values(rows, way, units):
    if way["quote"]:
        way = way | {"pad": ""}  # blanks before a quote make it part of the text
    how = layout(
        time={"column": "time_s", "unit": units["time"]},
        accel={"columns": ["ax", "ay", "az"], "unit": units["accel"]},
        gyro={"columns": ["gx", "gy", "gz"], "unit": units["gyro"]},
        missing=-99999999,
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "log")
        path.write_bytes(written(rows, way, units))
        log = read_log(request(path, how))
    table = np.array(rows)
    tight = {"rtol": 1e-15, "atol": 1e-16}  # "{:+.20f}" keeps 20 places
    np.testing.assert_allclose(log.time_s, table[:, 0] / PER_SECOND[units["time"]], **tight)
    accel = table[:, 1:4] * ACCEL_TO_MPS2[units["accel"]]
    np.testing.assert_allclose(log.accel_mps2, accel, **tight)
    gyro = table[:, 4:] * GYRO_TO_RADPS[units["gyro"]]
    np.testing.assert_allclose(log.gyro_radps, gyro, **tight)


def read_or_refuse_log(path, how):
    """The log, or None after an error of ours; any other error fails the test."""
    refused = ""
    try:
        return read_log(request(path, how))
    except LogError as error:
        refused = str(error)
    assert refused.startswith("log (left_shank): ")
    assert len(refused) < 2000
    return None


def mutated(data, changes):
    """Bytes with stretches taken out, put in, doubled or overwritten."""
    for kind, place, length, new in changes:
        at = int(place * len(data))
        old = data[at : at + length]
        middle = {"cut": b"", "insert": new + old, "double": old + old, "replace": new}[kind]
        data = data[:at] + middle + data[at + length :]
    return data


PIECES = st.sampled_from(
    [*b",;'\"\n\r\x00\xff#-[]={}/\\", "nan", "1e999", "..", "true", "R07", "2031-01-01", '""', "  "]
).map(lambda piece: bytes([piece]) if isinstance(piece, int) else piece.encode())
CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["cut", "insert", "double", "replace"]),
        st.floats(0, 1, exclude_max=True),
        st.integers(0, 40),
        PIECES | st.binary(max_size=6),
    ),
    min_size=1,
    max_size=4,
)
LOGS = st.sampled_from(
    [
        (text(), LAYOUT),
        (text(";", ","), LAYOUT),
        (text(" "), LAYOUT),
        ('# a "note"\n' + text("\t"), LAYOUT),
        (text().split("\n", 1)[1], NUMBERED),
        (text(header='"time_s","ax","ay","az","gx","gy","gz"') + '"9","0","0","1",0,0,0\n', LAYOUT),
    ]
)


@given(log=LOGS, changes=CHANGES, compress=st.booleans(), stated=st.booleans())
@settings(max_examples=200, deadline=None)
def test_a_damaged_log_is_read_or_refused(log, changes, compress, stated):
    content, base = log
    data = content.encode()
    data = mutated(gzip.compress(data, 1) if compress else data, changes)
    how = (
        layout(base, format="delimited" if stated else None)
        if base
        else layout(format="delimited" if stated else None)
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "log")
        path.write_bytes(data)
        found = read_or_refuse_log(path, how)
    if found is None:
        return
    n = len(found.time_s)
    assert n >= 2
    assert found.accel_mps2.shape == found.gyro_radps.shape == (n, 3)
    assert np.isfinite(found.time_s).any()
    for array in (found.time_s, found.accel_mps2, found.gyro_radps):
        assert not np.isinf(array).any()


@given(data=st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_read_or_refused(data):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "log")
        path.write_bytes(data)
        for how in (layout(format="delimited"), layout(), layout(NUMBERED, format="delimited")):
            read_or_refuse_log(path, how)


def read_or_refuse(content):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "session.toml")
        path.write_bytes(content)
        refused = ""
        try:
            session = read_session(path)
        except SessionError as error:
            refused = str(error)
        if refused:
            assert str(path) in refused
            return
        assert session.runs
        inside = Path(folder).resolve()
        for run in session.runs:
            assert all(p.is_relative_to(inside) for p in session.log_paths(run.id).values())


@given(changes=CHANGES)
@settings(max_examples=150, deadline=None)
def test_a_damaged_session_file_is_read_or_refused(changes):
    read_or_refuse(mutated(SESSION.encode(), changes))


VALUES = st.sampled_from(
    [
        *("nan", "-inf", "0", "-1", "1e308", "9" * 400, "true", "0x1f", "2031-04-12", "10:00:00"),
        *("2031-04-12T10:00:00Z", '""', '"x"', '"../.."', '"\\u0000"', "[]", "[[1]]", "[1, 2, 3]"),
        *('["ax", "ay", "az"]', "{}", "{a.b = 1}", '{ file = "." }', '{ left_foot = "/" }'),
    ]
)
KEYED_LINES = [i for i, line in enumerate(SESSION.splitlines()) if "=" in line]


@given(
    edits=st.lists(st.tuples(st.sampled_from(KEYED_LINES), VALUES), min_size=1, max_size=3),
    repeat=st.booleans(),
)
@example(edits=[(KEYED_LINES[0], "1")], repeat=False)
@settings(max_examples=150, deadline=None)
def test_any_value_at_any_key_is_read_or_refused(edits, repeat):
    lines = SESSION.splitlines()
    for index, value in edits:
        lines[index] = f"{lines[index].split('=')[0]}= {value}"
    if repeat:
        lines += lines[lines.index("[[run]]") :]
    read_or_refuse("\n".join(lines).encode())
