"""Delimited logs: decimal marks, numbers, time, units, missing values, speed."""

import datetime
import gzip
import tracemalloc

import numpy as np
import pyarrow as pa
import pytest

from imuproc.core.errors import LogError
from imuproc.readers.logs.registry import read_log, stream_log
from imuproc.readers.logs.text import text_file
from tests.readers.samples import (
    NAMES,
    assert_sample_values,
    layout,
    read,
    refusal,
    request,
    text,
    values,
)

G = 9.80665


@pytest.mark.parametrize("delimiter", [";", "\t", "|", " "])
@pytest.mark.parametrize("stated", [None, ","])
def test_decimal_comma(tmp_path, delimiter, stated):
    assert_sample_values(read(tmp_path, text(delimiter, ","), layout(decimal=stated)))


def test_decimal_comma_in_quotes_between_commas(tmp_path):
    quoted = "\n".join(
        ",".join(f'"{cell}"' for cell in line.split(";")) for line in text(";", ",").splitlines()
    )
    assert_sample_values(read(tmp_path, quoted))


def test_decimal_comma_that_shows_only_late(tmp_path):
    rows = ["1;0;0;1;0;0;0"] * 2000 + ["2;0;0;1,5;0;0;0"]
    log = read(tmp_path, ";".join(NAMES) + "\n" + "\n".join(rows) + "\n")
    assert log.accel_mps2[-1, 2] == pytest.approx(1.5 * G)


@pytest.mark.parametrize(("unit", "factor"), [("s", 1), ("ms", 1000), ("us", 1_000_000)])
def test_time_units(tmp_path, unit, factor):
    rows = values()
    rows[:, 0] *= factor
    body = "".join(",".join(map(repr, map(float, row))) + "\n" for row in rows)
    how = layout(time={"column": "time_s", "unit": unit})
    log = read(tmp_path, ",".join(NAMES) + "\n" + body, how)
    np.testing.assert_allclose(log.time_s, values()[:, 0], rtol=1e-15)


@pytest.mark.parametrize(
    ("unit", "first", "step_s"), [("us", 1_957_000_000_123_456, 1e-6), ("ms", 1957000000123, 1e-3)]
)
def test_epoch_stamps_keep_their_resolution(tmp_path, unit, first, step_s):
    rows = [f"{first + i},0,0,1,0,0,0" for i in range(1000)]
    how = layout(time={"column": "time_s", "unit": unit})
    log = read(tmp_path, ",".join(NAMES) + "\n" + "\n".join(rows) + "\n", how)
    expected = np.arange(1000) * step_s
    # float64 holds seconds of this size to a quarter of a microsecond.
    np.testing.assert_allclose(log.time_s - log.time_s[0], expected, rtol=0, atol=3e-7)
    assert np.all(np.diff(log.time_s) > 0)
    assert log.time_s[0] == pytest.approx(first * step_s, rel=0, abs=3e-7)


def test_rate_instead_of_a_time_column(tmp_path):
    how = layout(time=None, rate_hz=400)
    log = read(tmp_path, text(), how)
    np.testing.assert_array_equal(log.time_s, np.arange(5) / 400)
    np.testing.assert_allclose(log.accel_mps2, values()[:, 1:4] * G)


def test_stamps_are_kept_as_they_are(tmp_path):
    header = ",".join(NAMES)
    body = "".join(f"{t},0,0,1,0,0,0\n" for t in ("0.2", "0.1", "", "nan", "inf", "0.1"))
    log = read(tmp_path, f"{header}\n{body}")
    np.testing.assert_array_equal(log.time_s, [0.2, 0.1, np.nan, np.nan, np.nan, 0.1])


def test_no_stamp_is_a_number(tmp_path):
    body = ",".join(NAMES) + "\n" + ",0,0,1,0,0,0\nnan,0,0,1,0,0,0\n"
    assert refusal(tmp_path, body) == "time column 'time_s': found no stamp that is a number"


@pytest.mark.parametrize(
    ("accel", "to_mps2", "gyro", "to_radps"),
    [
        ("g", 9.80665, "deg/s", np.pi / 180),
        ("mg", 0.00980665, "rad/s", 1),
        ("m/s^2", 1, "deg/s", np.pi / 180),
    ],
)
def test_units(tmp_path, accel, to_mps2, gyro, to_radps):
    how = layout(
        accel={"columns": ["ax", "ay", "az"], "unit": accel, "range": 16},
        gyro={"columns": ["gx", "gy", "gz"], "unit": gyro, "range": 35},
    )
    log = read(tmp_path, text(), how)
    np.testing.assert_allclose(log.accel_mps2, values()[:, 1:4] * to_mps2, rtol=1e-15)
    np.testing.assert_allclose(log.gyro_radps, values()[:, 4:] * to_radps, rtol=1e-15)
    assert log.accel_range_mps2 == pytest.approx(16 * to_mps2)
    assert log.gyro_range_radps == pytest.approx(35 * to_radps)


@pytest.mark.parametrize("cell", ["", "nan", "NaN", "NA", "n/a", "null", "inf", "-inf", "1e999"])
@pytest.mark.parametrize("blank", ["", " "])
def test_missing_values_are_nan(tmp_path, cell, blank):
    log = read(tmp_path, text().replace(",-0.02,", f",{blank}{cell}{blank},"))
    assert np.isnan(log.accel_mps2[0, 1])
    assert np.isnan(log.accel_mps2).sum() == 1
    assert not np.isnan(log.gyro_radps).any()


@pytest.mark.parametrize(
    ("code", "cell"),
    [(-9999, "-9999"), (-9999, "-9999.0"), ("-9999", "-9999.00"), ("--", "--"), ("lost", " lost")],
)
def test_stated_code_for_missing_values(tmp_path, code, cell):
    log = read(tmp_path, text().replace(",-0.02,", f",{cell},"), layout(missing=code))
    assert np.isnan(log.accel_mps2[0, 1])
    assert np.isnan(log.accel_mps2).sum() == 1


def test_line_of_nothing_but_separators_is_a_missing_sample(tmp_path):
    log = read(tmp_path, text() + ",,,,,,\n")
    assert np.isnan(log.time_s[5])
    assert np.isnan(log.accel_mps2[5]).all()
    assert_sample_values(read(tmp_path, text()))


def test_ways_to_write_numbers(tmp_path):
    body = "+0,.5,5.,1e-3,1E+02,-1.5e1,+2\n1,0,0,1,0,0,007\n"
    log = read(tmp_path, ",".join(NAMES) + "\n" + body)
    np.testing.assert_allclose(log.accel_mps2[0] / G, [0.5, 5, 0.001])
    np.testing.assert_allclose(np.degrees(log.gyro_radps[0]), [100, -15, 2])
    assert np.degrees(log.gyro_radps[1, 2]) == pytest.approx(7)


@pytest.mark.parametrize("content", ["", "\n\n", "   \n", "\ufeff"])
def test_empty_file(tmp_path, content):
    assert refusal(tmp_path, content) == "the file is empty"


def test_header_only(tmp_path):
    found = refusal(tmp_path, "# a\n" + ",".join(NAMES) + "\n\n# b\n")
    assert found == "found no samples below the header in line 2"
    found = refusal(tmp_path, "# only\n# comments\n")
    assert found == "found no samples: only blank lines or comments"


def test_one_sample(tmp_path):
    assert refusal(tmp_path, text(n=1)) == "found 1 sample; allowed: 2 or more"
    assert len(read(tmp_path, text(n=2)).time_s) == 2


def test_all_zeros_and_all_missing_signals_are_kept(tmp_path):
    zeros = "".join(f"{i},0,0,0,,,\n" for i in range(3))
    log = read(tmp_path, ",".join(NAMES) + "\n" + zeros)
    assert not log.accel_mps2.any()
    assert np.isnan(log.gyro_radps).all()


def test_log_of_several_blocks(tmp_path):
    n = 400_000
    stamps = np.char.add(np.char.mod("%d", np.arange(n)), ",0.00001,0.00002,1.00003,4.1,5.1,6.1")
    content = ",".join(NAMES) + "\n" + "\n".join(stamps)
    assert len(content) > 1 << 24
    log = read(tmp_path, content)
    np.testing.assert_array_equal(log.time_s, np.arange(n))
    assert np.all(log.accel_mps2[:, 2] == 1.00003 * G)


def test_zero_of_the_stamps(tmp_path):
    assert read(tmp_path, text()).zero_at is None
    how = layout(time={"column": "time_s", "unit": "s", "zero": "unix"})
    assert read(tmp_path, text(), how).zero_at == datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
    noon = datetime.datetime(2031, 4, 12, 12)
    how = layout(time={"column": "time_s", "unit": "s", "zero": noon})
    assert read(tmp_path, text(), how).zero_at == noon
    # Runs are recognised by their layout as JSON: made without a warning on the screen.
    assert how.model_dump(mode="json")["time"]["zero"] == noon.isoformat()


@pytest.fixture
def small_blocks(monkeypatch):
    """Blocks of a few lines, so that a short log has many."""
    monkeypatch.setattr(text_file, "_BLOCK_BYTES", 173)
    monkeypatch.setattr("imuproc.readers.logs.text.delimited.HEAD_LINE_COUNT", 1)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("compress", [False, True])
def test_blocks_end_anywhere(tmp_path, small_blocks, end, encoding, compress):
    for extra in range(3):  # moves the ends of blocks
        content = "#" * extra + "\n" + text(n=300)
        data = content.replace("\n", end).encode(encoding)
        assert_sample_values(read(tmp_path, gzip.compress(data) if compress else data), 300)


def test_line_number_is_right_in_a_later_block(tmp_path, small_blocks):
    lines = text(n=300).splitlines()
    lines[200] = lines[200].replace(",", ",x", 1)
    assert refusal(tmp_path, "\n".join(lines)).startswith("line 201, column 'ax': found 'x")
    lines = text(n=300).splitlines()
    lines[-1] = lines[-1][:9]
    log = read(tmp_path, "\n".join(lines))
    assert_sample_values(log, 299)
    assert log.cut_short.startswith("line 301 breaks off in cell 2 of 7 and was left out; its last")
    found = refusal(tmp_path, "\n".join(lines) + "\n")
    assert found.startswith("line 301: found 2 cells; allowed: 7; it is the last line")


def test_decimal_marks_of_different_blocks_must_agree(tmp_path, small_blocks):
    whole = "1;0;0;1;0;0;0\n" * 50
    header = ";".join(NAMES) + "\n"
    late = "2;0;0;1,5;0;0;0\n"
    assert read(tmp_path, header + whole + late).accel_mps2[-1, 2] == pytest.approx(1.5 * G)
    mixed = header + "1;0;0;1.5;0;0;0\n" + whole + late
    assert refusal(tmp_path, mixed).startswith("line 53, column 'az': found '1,5'; allowed: a num")


def test_pieces_come_before_the_file_is_read_to_its_end(tmp_path, small_blocks):
    lines = text(n=300).splitlines()
    lines[250] = "broken"
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    pieces = stream_log(request(path), 10)
    np.testing.assert_array_equal(next(pieces).time_s, values(10)[:, 0])
    with pytest.raises(LogError, match=r"log\.csv \(left_shank\): line 251: found 1 cell;"):
        list(pieces)


def test_memory_is_bounded_by_the_piece(tmp_path):
    path = tmp_path / "log.csv"
    line = "0,0.00001,0.00002,1.00003,4.1,5.1,6.1\n"
    path.write_text(",".join(NAMES) + "\n" + line * 1_500_000)
    before = pa.total_allocated_bytes()
    tracemalloc.start()
    try:
        assert sum(len(piece.time_s) for piece in stream_log(request(path), 10_000)) == 1_500_000
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    # The file has 57 MB and its values 84; a block of 2 MB is there a few times.
    assert peak < 30e6
    assert pa.total_allocated_bytes() <= before + 1e6


def test_a_line_without_end_is_no_text(tmp_path, monkeypatch):
    monkeypatch.setattr(text_file, "_BLOCK_BYTES", 1 << 16)
    monkeypatch.setattr(text_file, "_LONGEST_LINE_BYTES", 1 << 20)
    found = refusal(tmp_path, text() + "1" * (1 << 21))
    assert found.startswith("line 7: found more than 1 MB without a line end; allowed: lines of te")


@pytest.mark.parametrize("delimiter", [",", " "])
def test_speed_of_half_a_minute_at_1000_hz(tmp_path, benchmark, delimiter):
    path = tmp_path / "log.csv"
    path.write_text(text(delimiter, n=30_000))
    log = benchmark(read_log, request(path))
    assert len(log.time_s) == 30_000


def test_whole_stamps_in_ns_are_made_seconds_before_they_are_rounded(tmp_path):
    stamps = [1_957_000_000_123_456_789 + 777_777 * i for i in range(50)]
    body = "".join(f"{stamp},0,0,1,0,0,0\n" for stamp in stamps)
    how = layout(time={"column": "time_s", "unit": "ns", "zero": "unix"})
    exact = [stamp // 10**9 + (stamp % 10**9) / 1e9 for stamp in stamps]
    log = read(tmp_path, ",".join(NAMES) + "\n" + body, how)
    np.testing.assert_array_equal(log.time_s, exact)
    log = read(tmp_path, ",".join(NAMES) + "\n" + body + ",0,0,1,0,0,0\n", how)
    np.testing.assert_allclose(log.time_s[:-1], exact, rtol=0, atol=5e-7)
    assert np.isnan(log.time_s[-1])


def test_several_sensors_by_prefix_of_their_columns(tmp_path):
    names = ["time_s", *(f"LS_{n}" for n in NAMES[1:]), *(f"LF_{n}" for n in NAMES[1:])]
    rows = [[t, *six, *(-six)] for t, six in zip(values()[:, 0], values()[:, 1:], strict=True)]
    lines = [",".join(names), *(",".join(map(repr, map(float, r))) for r in rows)]
    content = "\n".join(lines) + "\n"
    assert_sample_values(read(tmp_path, content, select="LS_"))
    left = read(tmp_path, content, select="LS_").gyro_radps
    np.testing.assert_array_equal(read(tmp_path, content, select="LF_").gyro_radps, -left)
    found = refusal(tmp_path, content, select="RS_")
    assert "missing columns: 'RS_ax' (did you mean 'LS_ax'?)" in found
