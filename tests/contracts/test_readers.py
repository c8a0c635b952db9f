"""What every reader must do; the kinds of logs are in ``kinds.py``."""

import gzip
import importlib.util
import io
import json
import zipfile

import numpy as np
import pytest

from imuproc.core.errors import LogError
from imuproc.readers.logs.registry import (
    READERS,
    load_reader,
    read_log,
    recognise_format,
    stream_log,
)
from tests.contracts.kinds import COLUMNS, KINDS

N = 200


def truth(n: int = N) -> np.ndarray:
    """A sensor at rest, tilted by 30°, then turning: ms, mg, deg/s; shape (n, 7)."""
    rng = np.random.default_rng(7)
    level = np.array([500.0, 0.0, 1000 * np.sqrt(0.75), 0.0, 0.0, 0.0])
    signals = level + rng.normal(scale=0.5, size=(n, 6))
    signals[n // 2 :, 4] += 300.0
    return np.column_stack([1000.0 + 2.0 * np.arange(n), signals])


@pytest.fixture(params=list(KINDS))
def kind(request):
    if request.param == "xdf" and importlib.util.find_spec("pyxdf") is None:
        pytest.skip("pyxdf is not installed: pip install 'imuproc[xdf]'")
    return KINDS[request.param]


@pytest.fixture
def write(kind, tmp_path):
    """Writes a table and gives the file."""

    def _write(table, accel_unit="mg"):
        path = tmp_path / kind.file
        kind.write(path, table, accel_unit)
        return path

    return _write


@pytest.fixture
def sample(write):
    return write(truth())


def test_every_reader_has_a_sample():
    assert {kind.format for kind in KINDS.values()} == set(READERS)


def test_own_sample_is_recognised_and_no_other_takes_it(kind, sample):
    assert [other for other in READERS if load_reader(other).can_read(sample)] == [kind.format]
    assert recognise_format(sample) == kind.format


def zipped() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        file.writestr("log.csv", "t,ax\n1,2\n")
    return buffer.getvalue()


FOREIGN = {
    "image": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    "zip": zipped(),
    "markup": b"<?xml version='1.0'?><log><t>1,2,3</t></log>",
    "json": json.dumps({"day": "2031-04-12", "t": [1, 2, 3]}).encode(),
    "numbers": truth().tobytes(),
    "noise": np.random.default_rng(3).bytes(5000),
    "zeros": bytes(5000),
}


@pytest.mark.parametrize("other", FOREIGN)
def test_other_files_are_not_recognised(kind, tmp_path, other):
    path = tmp_path / kind.file
    path.write_bytes(FOREIGN[other])
    assert load_reader(kind.format).can_read(path) is False
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): the format was not recog"):
        read_log(kind.request(path, format=None) if kind.format != "xdf" else text_request(path))


def text_request(path):
    return KINDS["delimited"].request(path)


def test_values_are_si(kind, sample):
    log = read_log(kind.request(sample))
    assert (log.site, log.source) == ("left_shank", "logs/a.log")
    np.testing.assert_allclose(log.time_s, truth()[:, 0] / 1000, rtol=1e-12)
    np.testing.assert_allclose(log.accel_mps2, truth()[:, 1:4] * 9.80665e-3, rtol=1e-12)
    np.testing.assert_allclose(log.gyro_radps, np.radians(truth()[:, 4:]), rtol=1e-12)
    assert log.accel_range_mps2 == pytest.approx(16 * 9.80665)
    assert log.gyro_range_radps == pytest.approx(np.radians(2000))
    assert log.zero_at is None
    # At rest an accelerometer reads local gravity: 9.78 to 9.83 m/s² on Earth (WGS84).
    at_rest = np.linalg.norm(log.accel_mps2[: N // 2].mean(axis=0))
    assert 9.7 < at_rest < 9.9


def test_arrays_are_as_the_core_types_say(kind, sample):
    log = read_log(kind.request(sample))
    assert log.time_s.shape == (N,)
    assert log.accel_mps2.shape == log.gyro_radps.shape == (N, 3)
    for array in (log.time_s, log.accel_mps2, log.gyro_radps):
        assert array.dtype == np.float64


def test_numbers_that_nothing_can_read_count_as_missing(kind, write):
    table = truth()
    table[3, 2], table[5, 4], table[9, 0] = 1e35, -3e37, 1e30  # also in 32 bits a number
    log = read_log(kind.request(write(table)))
    assert np.argwhere(np.isnan(log.accel_mps2)).tolist() == [[3, 1]]
    assert np.argwhere(np.isnan(log.gyro_radps)).tolist() == [[5, 0]]
    assert np.flatnonzero(np.isnan(log.time_s)).tolist() == [9]


def test_missing_values_are_nan_and_stamps_are_kept(kind, write):
    table = truth()
    table[3, 2] = table[5, 4] = table[9, 0] = np.nan
    table[7, 0] = 0.0  # a clock that jumped back
    table[20:23, 0] = table[20, 0]  # and one that stood still
    log = read_log(kind.request(write(table)))
    assert np.argwhere(np.isnan(log.accel_mps2)).tolist() == [[3, 1]]
    assert np.argwhere(np.isnan(log.gyro_radps)).tolist() == [[5, 0]]
    np.testing.assert_array_equal(log.time_s, table[:, 0] / 1000)


@pytest.mark.parametrize("rows", [2, 7, 100, N - 1, N, 10 * N])
def test_pieces_joined_are_the_log(kind, write, rows):
    table = truth()
    table[3, 2] = table[150, 4] = table[151, 0] = np.nan
    table[7, 0] = 0.0
    asked = kind.request(write(table))
    whole, pieces = read_log(asked), list(stream_log(asked, rows))
    assert [len(piece.time_s) for piece in pieces[:-1]] == [rows] * (len(pieces) - 1)
    assert 0 < len(pieces[-1].time_s) <= rows
    for array in ("time_s", "accel_mps2", "gyro_radps"):
        parts = [getattr(piece, array) for piece in pieces]
        np.testing.assert_array_equal(np.concatenate(parts), getattr(whole, array))
    for other in ("site", "source", "accel_range_mps2", "gyro_range_radps", "zero_at"):
        assert {getattr(piece, other) for piece in pieces} == {getattr(whole, other)}


def test_pieces_of_one_sample_are_refused(kind, sample):
    with pytest.raises(ValueError, match="rows must be 2 or more, not 1"):
        next(stream_log(kind.request(sample), 1))


@pytest.mark.parametrize("n", [0, 1])
def test_less_than_two_samples_are_refused(kind, write, n):
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): .*(samples?|empty)"):
        read_log(kind.request(write(truth()[:n])))


def test_no_stamp_is_a_number(kind, write):
    table = truth()
    table[:, 0] = np.nan
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): .*no stamp that is a number"):
        read_log(kind.request(write(table)))


def test_reading_twice_gives_the_same_and_leaves_the_file_alone(kind, sample):
    before, files = sample.read_bytes(), sorted(sample.parent.iterdir())
    first, second = (read_log(kind.request(sample)) for _ in range(2))
    np.testing.assert_array_equal(first.accel_mps2, second.accel_mps2)
    assert sample.read_bytes() == before
    assert sorted(sample.parent.iterdir()) == files


def test_stating_the_format_changes_nothing(kind, sample):
    stated, found = (
        read_log(kind.request(sample, format=kind.format)),
        read_log(kind.request(sample)),
    )
    np.testing.assert_array_equal(stated.gyro_radps, found.gyro_radps)


def test_missing_column_is_named(kind, sample):
    if not kind.names_columns:
        pytest.skip("its files say themselves what stands where")
    lacking = {"gyro": {"columns": ["gx", "wy", "gz"], "unit": "deg/s"}}
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): .*'wy'.*'gy'"):
        read_log(kind.request(sample, **lacking))


def test_rate_instead_of_stamps(kind, sample):
    if "time" not in kind.layout:
        pytest.skip("its files carry stamps or a rate themselves")
    log = read_log(kind.request(sample, time=None, rate_hz=500))
    np.testing.assert_array_equal(log.time_s, np.arange(N) / 500)


def test_zero_of_the_stamps_is_what_the_layout_says(kind, sample):
    if "time" not in kind.layout:
        pytest.skip("its files say it themselves")
    log = read_log(kind.request(sample, time=COLUMNS["time"] | {"zero": "unix"}))
    assert log.zero_at.isoformat() == "1970-01-01T00:00:00+00:00"


def test_a_unit_of_another_quantity_is_refused(kind, write):
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): .*unit 'rad/s'"):
        read_log(kind.request(write(truth(), accel_unit="rad/s")))


@pytest.mark.parametrize(
    "content", [b"", b"\n", b"\x00", b"\xff" * 999, gzip.compress(b"x" * 99, mtime=0)]
)
def test_garbage_is_refused(kind, sample, content):
    sample.write_bytes(content)
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): "):
        read_log(kind.request(sample, format=kind.format))


@pytest.mark.parametrize("share", [0.0, 0.001, 0.01, 0.3, 0.5, 0.7, 0.9, 0.999])
def test_of_a_file_cut_short_the_beginning_is_read_and_told_or_it_is_refused(kind, sample, share):
    content, whole = sample.read_bytes(), read_log(kind.request(sample))
    assert whole.cut_short == ""
    sample.write_bytes(content[: int(share * len(content))])
    log, refused = None, ""
    try:
        log = read_log(kind.request(sample, format=kind.format))
    except LogError as error:
        refused = str(error)
    if log is None:
        assert refused.startswith("logs/a.log (left_shank): ")
    else:
        n = len(log.time_s)
        for array in ("time_s", "accel_mps2", "gyro_radps"):
            np.testing.assert_array_equal(getattr(log, array), getattr(whole, array)[:n])
        last = sample.read_bytes().rsplit(b"\n", 1)[-1]
        is_text = kind.format in ("delimited", "bids-motion")
        if is_text and (last == b"" or max(map(last.count, b",\t")) == 6):
            return  # nothing tells: cut at a line's end, or in its last number (it is left out)
        assert f"its last sample is at {log.time_s[-1]:.10g} s" in log.cut_short


@pytest.mark.parametrize("seed", range(40))
def test_a_damaged_file_is_read_or_refused_but_never_a_crash(kind, sample, seed):
    rng = np.random.default_rng(seed)
    content = bytearray(sample.read_bytes())
    # Most damage is at the ends, where headers and indices are.
    places = rng.integers(0, len(content), 4).tolist() + rng.integers(0, 300, 4).tolist()
    for place in places:
        content[place % len(content)] = int(rng.integers(256))
    sample.write_bytes(bytes(content))
    refused = ""
    try:
        log = read_log(kind.request(sample, format=kind.format))
    except LogError as error:
        refused = str(error)
    else:
        assert log.accel_mps2.shape == (len(log.time_s), 3)
    assert not refused or refused.startswith("logs/a.log (left_shank): ")
