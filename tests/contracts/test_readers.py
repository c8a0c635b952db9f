"""What every reader must do. A new reader adds its sample to ``WRITERS``."""

import datetime
import io
import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from imuproc.core.errors import LogError
from imuproc.readers.layout import Layout
from imuproc.readers.registry import READERS, load_reader, read_log, recognise, stream_log
from imuproc.readers.request import LogRequest

N = 200
NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")
LAYOUT = {
    "time": {"column": "t", "unit": "ms"},
    "accel": {"columns": ["ax", "ay", "az"], "unit": "mg", "range": 16000},
    "gyro": {"columns": ["gx", "gy", "gz"], "unit": "deg/s", "range": 2000},
}


def truth() -> np.ndarray:
    """A sensor at rest, tilted by 30°, then turning: ms, mg, deg/s; shape (N, 7)."""
    rng = np.random.default_rng(7)
    level = np.array([500.0, 0.0, 1000 * np.sqrt(0.75), 0.0, 0.0, 0.0])
    signals = level + rng.normal(scale=0.5, size=(N, 6))
    signals[N // 2 :, 4] += 300.0
    return np.column_stack([1000.0 + 2.0 * np.arange(N), signals])


def write_delimited(path: Path, table: np.ndarray) -> None:
    rows = [",".join("" if np.isnan(c) else repr(float(c)) for c in row) for row in table]
    path.write_text("\n".join([",".join(NAMES), *rows]) + "\n")


WRITERS = {"delimited": write_delimited}


def foreign_samples() -> dict[str, bytes]:
    """Beginnings of files that no reader of today may take for its own."""
    buffer = io.BytesIO()
    parquet.write_table(pa.table(dict(zip(NAMES, truth().T, strict=True))), buffer)
    day = datetime.date(2031, 4, 12).isoformat()
    return {
        "hdf5": b"\x89HDF\r\n\x1a\n" + bytes(200),
        "parquet": buffer.getvalue(),
        "xdf": b"XDF:\x01\x50\x01\x00<?xml version='1.0'?><info><version>1.0</version></info>",
        "image": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
        "archive": b"PK\x03\x04\x14\x00\x00\x00\x08\x00",
        "markup": b"<?xml version='1.0'?><log><t>1,2,3</t></log>",
        "json": json.dumps({"day": day, "t": [1, 2, 3]}).encode(),
        "numbers": truth().tobytes(),
    }


@pytest.fixture(params=sorted(READERS))
def name(request):
    return request.param


@pytest.fixture
def sample(name, tmp_path):
    path = tmp_path / "sample.log"
    WRITERS[name](path, truth())
    return path


def asked(path, **changes):
    return LogRequest("left_shank", path, "logs/a.log", Layout.model_validate(LAYOUT | changes))


def test_every_reader_has_a_sample():
    assert set(WRITERS) == set(READERS)


def test_own_sample_is_recognised_and_no_other_takes_it(name, sample):
    assert [other for other in READERS if load_reader(other).recognise(sample)] == [name]
    assert recognise(sample) == name


@pytest.mark.parametrize("other", sorted(foreign_samples()))
def test_other_files_are_not_recognised(name, tmp_path, other):
    if other == name:
        pytest.skip("this is the reader's own format")
    path = tmp_path / "other.log"
    path.write_bytes(foreign_samples()[other])
    assert load_reader(name).recognise(path) is False


def test_values_are_si(name, sample):
    log = load_reader(name).read(asked(sample))
    assert (log.site, log.source) == ("left_shank", "logs/a.log")
    np.testing.assert_allclose(log.time_s, truth()[:, 0] / 1000, rtol=1e-12)
    np.testing.assert_allclose(log.accel_mps2, truth()[:, 1:4] * 9.80665e-3, rtol=1e-12)
    np.testing.assert_allclose(log.gyro_radps, np.radians(truth()[:, 4:]), rtol=1e-12)
    assert log.accel_range_mps2 == pytest.approx(16 * 9.80665)
    assert log.gyro_range_radps == pytest.approx(np.radians(2000))
    # At rest an accelerometer reads local gravity: 9.78 to 9.83 m/s² on Earth (WGS84).
    at_rest = np.linalg.norm(log.accel_mps2[: N // 2].mean(axis=0))
    assert 9.7 < at_rest < 9.9


def test_arrays_are_as_the_core_types_say(name, sample):
    log = load_reader(name).read(asked(sample))
    assert log.time_s.shape == (N,)
    assert log.accel_mps2.shape == log.gyro_radps.shape == (N, 3)
    for array in (log.time_s, log.accel_mps2, log.gyro_radps):
        assert array.dtype == np.float64


def test_missing_values_are_nan_and_stamps_are_kept(name, tmp_path):
    table = truth()
    table[3, 2] = table[5, 4] = np.nan
    table[7, 0] = 0.0  # a clock that jumped back
    path = tmp_path / "sample.log"
    WRITERS[name](path, table)
    log = load_reader(name).read(asked(path))
    assert np.argwhere(np.isnan(log.accel_mps2)).tolist() == [[3, 1]]
    assert np.argwhere(np.isnan(log.gyro_radps)).tolist() == [[5, 0]]
    assert log.time_s[7] == 0.0


def test_reading_twice_gives_the_same_and_leaves_the_file_alone(name, sample):
    before = sample.read_bytes()
    first, second = (load_reader(name).read(asked(sample)) for _ in range(2))
    np.testing.assert_array_equal(first.accel_mps2, second.accel_mps2)
    assert sample.read_bytes() == before
    assert [path.name for path in sample.parent.iterdir()] == [sample.name]


@pytest.mark.parametrize("rows", [2, 7, 100, N - 1, N, 10 * N])
def test_pieces_joined_are_the_log(name, tmp_path, rows):
    table = truth()
    table[3, 2] = table[150, 4] = table[151, 0] = np.nan
    table[7, 0] = 0.0
    path = tmp_path / "sample.log"
    WRITERS[name](path, table)
    whole, pieces = read_log(asked(path)), list(stream_log(asked(path), rows))
    assert [len(piece.time_s) for piece in pieces[:-1]] == [rows] * (len(pieces) - 1)
    assert 0 < len(pieces[-1].time_s) <= rows
    for array in ("time_s", "accel_mps2", "gyro_radps"):
        parts = [getattr(piece, array) for piece in pieces]
        np.testing.assert_array_equal(np.concatenate(parts), getattr(whole, array))
    for other in ("site", "source", "accel_range_mps2", "gyro_range_radps", "zero_at"):
        assert {getattr(piece, other) for piece in pieces} == {getattr(whole, other)}


def test_pieces_of_one_sample_are_refused(name, sample):
    with pytest.raises(ValueError, match="rows must be 2 or more, not 1"):
        next(load_reader(name).stream(asked(sample), 1))


def test_stating_the_format_changes_nothing(name, sample):
    stated, found = read_log(asked(sample, format=name)), read_log(asked(sample))
    np.testing.assert_array_equal(stated.gyro_radps, found.gyro_radps)


def test_missing_column_is_named(name, sample):
    lacking = {"gyro": {"columns": ["gx", "wy", "gz"], "unit": "deg/s"}}
    with pytest.raises(LogError, match=r"logs/a\.log \(left_shank\): .*'wy'.*'gy'"):
        read_log(asked(sample, **lacking))


def test_rate_instead_of_stamps(name, sample):
    how = {key: value for key, value in LAYOUT.items() if key != "time"} | {"rate_hz": 500}
    log = read_log(LogRequest("pelvis", sample, "a", Layout.model_validate(how)))
    np.testing.assert_array_equal(log.time_s, np.arange(N) / 500)


@pytest.mark.parametrize("share", [0.0, 0.001, 0.01, 0.3, 0.7, 0.999])
def test_a_file_cut_short_is_read_or_refused_but_never_a_crash(name, sample, share):
    content = sample.read_bytes()
    sample.write_bytes(content[: int(share * len(content))])
    log, refused = None, ""
    try:
        log = read_log(asked(sample, format=name))
    except LogError as error:
        refused = str(error)
    if log is None:
        assert refused.startswith("logs/a.log (left_shank): ")
    else:
        np.testing.assert_allclose(log.time_s, truth()[: len(log.time_s), 0] / 1000, rtol=1e-12)
