"""Parquet: columns by name, kinds of numbers, timestamps."""

import datetime
import decimal

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from imuproc.core.errors import LogError
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import read_log, stream_log
from tests.readers.samples import NAMES, NUMBERED, assert_sample_values, layout, request, values

EPOCH_NS = 1_957_000_000_123_456_789


def columns(**changes):
    return dict(zip(NAMES, map(pa.array, values().T), strict=True)) | changes


def write(path, table, **how):
    parquet.write_table(table if isinstance(table, pa.Table) else pa.table(table), path, **how)
    return path


def refusal(path, how=None, select=None):
    with pytest.raises(LogError, match=rf"^{path.name} \(left_shank\): ") as caught:
        read_log(request(path, how, select))
    return str(caught.value).removeprefix(f"{path.name} (left_shank): ")


def test_columns_by_name_and_by_number(tmp_path):
    path = write(tmp_path / "a.parquet", {"note": ["x"] * 5, **columns()})
    assert_sample_values(read_log(request(path)))
    numbered = {
        "time": {"column": 2, "unit": "s"},
        "accel": {"columns": [3, 4, 5], "unit": "g"},
        "gyro": {"columns": [6, 7, 8], "unit": "deg/s"},
    }
    assert_sample_values(read_log(request(path, layout(numbered))))
    path = write(tmp_path / "b.parquet", {"t": [1, 2]})
    assert refusal(path, layout(NUMBERED)).startswith("found 1 columns; allowed: at least 7")


def test_several_sensors_by_prefix_of_their_columns(tmp_path):
    stamps, *signals = values().T
    both = {"time_s": stamps}
    for prefix, factor in (("LS_", 1.0), ("LF_", 2.0)):
        both |= {prefix + n: factor * v for n, v in zip(NAMES[1:], signals, strict=True)}
    path = write(tmp_path / "a.parquet", both)
    assert_sample_values(read_log(request(path, None, "LS_")))
    left = read_log(request(path, None, "LS_")).gyro_radps
    np.testing.assert_array_equal(read_log(request(path, None, "LF_")).gyro_radps, 2 * left)
    assert "missing columns: 'RS_ax' (did you mean 'LS_ax'?)" in refusal(path, None, "RS_")


@pytest.mark.parametrize(
    "kind",
    [
        pa.int8(),
        pa.int16(),
        pa.int64(),
        pa.uint32(),
        pa.float32(),
        pa.float16(),
        pa.decimal128(9, 2),
    ],
)
def test_kinds_of_numbers(tmp_path, kind):
    numbers = [decimal.Decimal(i) if pa.types.is_decimal(kind) else i for i in range(5)]
    if kind == pa.float16():
        numbers = np.arange(5, dtype=np.float16)
    path = write(tmp_path / "a.parquet", columns(gx=pa.array(numbers, kind)))
    found = read_log(request(path)).gyro_radps[:, 0]
    np.testing.assert_allclose(found, np.radians(np.arange(5)), rtol=1e-15)


def test_nulls_and_codes_are_missing(tmp_path):
    path = write(
        tmp_path / "a.parquet",
        columns(gx=pa.array([1, None, 3, -9999, 5]), time_s=pa.array([0, None, 2, 3, 4])),
    )
    log = read_log(request(path, layout(missing=-9999)))
    assert np.isnan(log.gyro_radps[:, 0]).tolist() == [False, True, False, True, False]
    np.testing.assert_array_equal(log.time_s, [0, np.nan, 2, 3, 4])


@pytest.mark.parametrize("array", [["a"] * 5, [True] * 5, [[1.0]] * 5, [{"x": 1}] * 5])
def test_columns_that_are_no_numbers(tmp_path, array):
    path = write(tmp_path / "a.parquet", columns(ay=pa.array(array)))
    found = refusal(path)
    assert found.startswith(("column 'ay': found ", "missing columns: 'ay'"))


def test_column_twice(tmp_path):
    arrays = [pa.array(column) for column in values().T]
    table = pa.Table.from_arrays([*arrays, arrays[2]], names=[*NAMES, "ay"])
    path = write(tmp_path / "a.parquet", table)
    assert refusal(path) == "the column 'ay' is there more than once; allowed: once"


@pytest.mark.parametrize(
    ("kind", "zone"),
    [
        (pa.timestamp("ns", "Europe/Madrid"), datetime.UTC),
        (pa.timestamp("us", "UTC"), datetime.UTC),
        (pa.timestamp("ms"), None),
        (pa.timestamp("s"), None),
    ],
)
def test_timestamps_count_from_1970(tmp_path, kind, zone):
    per_second = {"ns": 10**9, "us": 10**6, "ms": 10**3, "s": 1}[kind.unit]
    stamps = pa.array([2 * 10**9 * per_second + i for i in range(5)], pa.int64()).cast(kind)
    log = read_log(request(write(tmp_path / "a.parquet", columns(time_s=stamps))))
    assert log.zero_at == datetime.datetime(1970, 1, 1, tzinfo=zone)
    np.testing.assert_allclose(log.time_s, 2e9 + np.arange(5) / per_second, rtol=0, atol=2.5e-7)
    how = layout(time={"column": "time_s", "unit": "s", "zero": datetime.datetime(2031, 1, 1)})
    assert "timestamps, which count from 1970" in refusal(tmp_path / "a.parquet", how)


def test_whole_stamps_in_ns_are_made_seconds_before_they_are_rounded(tmp_path):
    stamps = [EPOCH_NS + 777_777 * i for i in range(5)]
    path = write(tmp_path / "a.parquet", columns(time_s=pa.array(stamps)))
    log = read_log(request(path, layout(time={"column": "time_s", "unit": "ns", "zero": "unix"})))
    exact = [stamp // 10**9 + (stamp % 10**9) / 1e9 for stamp in stamps]
    np.testing.assert_array_equal(log.time_s, exact)


def test_row_groups_are_read_one_by_one(tmp_path):
    path = write(tmp_path / "a.parquet", columns(), row_group_size=2)
    assert_sample_values(read_log(request(path)))
    assert [len(piece.time_s) for piece in stream_log(request(path), 3)] == [3, 2]


def test_unit_that_contradicts_the_layout(tmp_path):
    fields = [pa.field(name, pa.float64()) for name in NAMES]
    fields[1] = fields[1].with_metadata({"unit": "m/s^2"})
    table = pa.table([pa.array(c) for c in values().T], schema=pa.schema(fields))
    found = refusal(write(tmp_path / "a.parquet", table))
    assert found == (
        "column 'ax': the log states the unit 'm/s^2', the layout 'g'; allowed: the same in both"
    )


def test_layout_without_columns(tmp_path):
    path = write(tmp_path / "a.parquet", columns())
    assert refusal(path, Layout()).startswith("the layout names no columns; this format needs acc")
