"""XDF: streams by name, labels, clocks, what is left of a file cut short."""

import builtins
import dataclasses
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as st_np

from imuproc.core.errors import LogError
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import read_log, stream_log
from imuproc.readers.logs.request import LogRequest
from tests.readers.xdf_files import Stream, xdf

LABELS = ("ax", "ay", "az", "gx", "gy", "gz")
N = 120
LAYOUT = {
    "format": "xdf",
    "accel": {"columns": ["ax", "ay", "az"], "unit": "g", "range": 16},
    "gyro": {"columns": ["gx", "gy", "gz"], "unit": "rad/s"},
}
NUMBERED = {
    "format": "xdf",
    "accel": {"columns": [1, 2, 3], "unit": "g"},
    "gyro": {"columns": [4, 5, 6], "unit": "rad/s"},
}


@pytest.fixture
def needs_pyxdf():
    pytest.importorskip("pyxdf", reason="pyxdf is not installed: pip install 'imuproc[xdf]'")


pytestmark = pytest.mark.usefixtures("needs_pyxdf")


def imu(name="shank", **changes):
    values = np.arange(6.0 * N).reshape(N, 6) / 8
    plain = Stream(name, 1000.0 + np.arange(N) / 100.0, values, LABELS)
    return dataclasses.replace(plain, **changes)


def request(path, layout=None, select=None):
    return LogRequest("pelvis", path, "a.xdf", Layout.model_validate(layout or LAYOUT), select)


def read(folder, *streams, layout=None, select=None):
    path = folder / "a.xdf"
    path.write_bytes(xdf(*streams))
    return read_log(request(path, layout, select))


def refusal(folder, *streams, layout=None, select=None):
    with pytest.raises(LogError, match=r"^a\.xdf \(pelvis\): ") as caught:
        read(folder, *streams, layout=layout, select=select)
    return str(caught.value).removeprefix("a.xdf (pelvis): ")


def test_one_stream(tmp_path):
    log = read(tmp_path, imu())
    np.testing.assert_array_equal(log.time_s, 1000.0 + np.arange(N) / 100.0)
    np.testing.assert_array_equal(log.accel_mps2, imu().values[:, :3] * 9.80665)
    np.testing.assert_array_equal(log.gyro_radps, imu().values[:, 3:])
    assert log.accel_range_mps2 == 16 * 9.80665
    assert log.zero_at is None  # stamps count from the start of the recording computer


def test_streams_by_name(tmp_path):
    foot = imu("foot", values=-imu().values, stamps=imu().stamps + 0.003)
    log = read(tmp_path, imu(), foot, select="foot")
    np.testing.assert_array_equal(log.gyro_radps, foot.values[:, 3:])
    np.testing.assert_array_equal(log.time_s, foot.stamps)
    allowed = "allowed: a select that names one of 'shank', 'foot'"
    assert refusal(tmp_path, imu(), foot) == f"found 2 streams; {allowed}"
    assert refusal(tmp_path, imu(), foot, select="arm") == f"found no stream 'arm'; {allowed}"
    found = refusal(tmp_path, imu(), imu(), select="shank")
    assert found.startswith("found 2 streams named 'shank'; allowed: ")


def test_channels_by_number(tmp_path):
    log = read(tmp_path, imu(labels=()), layout=NUMBERED)
    np.testing.assert_array_equal(log.gyro_radps, imu().values[:, 3:])
    assert refusal(tmp_path, imu(labels=())).startswith("found 0 labels for 6 channels; allowed: a")
    few = imu(labels=(), values=imu().values[:, :4])
    assert refusal(tmp_path, few, layout=NUMBERED).startswith(
        "found 4 channels; allowed: at least 6"
    )


def test_label_that_is_not_there(tmp_path):
    labels = (*LABELS[:4], "wy", "gz")
    assert "missing columns: 'gy'" in refusal(tmp_path, imu(labels=labels))


def test_unit_that_contradicts_the_layout(tmp_path):
    units = ("m/s^2",) * 3 + ("rad/s",) * 3
    found = refusal(tmp_path, imu(units=units))
    assert found.startswith(
        "channel 'ax': the log states the unit 'm/s^2', the layout 'g'; allowed"
    )


@pytest.mark.parametrize("kind", ["int16", "int32", "int64", "float32", "double64"])
def test_kinds_of_numbers(tmp_path, kind):
    values = np.arange(6.0 * N).reshape(N, 6)
    log = read(tmp_path, imu(values=values, format=kind))
    np.testing.assert_array_equal(log.gyro_radps, values[:, 3:])


def test_clock_offsets_are_applied(tmp_path):
    """XDF 1.0: offsets are added to the stamps, as a line over the collection times."""
    times = np.linspace(1000.0, 1001.2, 13)
    offsets = tuple((float(t), 5.0 + 1e-4 * (t - 1000.0)) for t in times)
    log = read(tmp_path, imu(offsets=offsets))
    wanted = imu().stamps + 5.0 + 1e-4 * (imu().stamps - 1000.0)
    np.testing.assert_allclose(log.time_s, wanted, rtol=0, atol=1e-6)


def test_irregular_stamps_are_kept(tmp_path):
    stamps = imu().stamps + np.where(np.arange(N) > 60, 0.5, 0.0)
    stamps[10] -= 0.3
    for rate in (0.0, 100.0):
        log = read(tmp_path, imu(stamps=stamps, nominal_srate=rate))
        np.testing.assert_array_equal(log.time_s, stamps)


def test_of_a_file_cut_short_what_is_whole_is_read(tmp_path):
    path = tmp_path / "a.xdf"
    content = xdf(imu(footer=False, samples_per_chunk=10))
    path.write_bytes(content[: len(content) * 2 // 3])
    log = read_log(request(path))
    n = len(log.time_s)
    assert 60 <= n < N
    np.testing.assert_array_equal(log.gyro_radps, imu().values[:n, 3:])
    assert log.cut_short == (
        "the stream has no footer, which is written when a recording ends; its last sample is at "
        f"{1000 + (n - 1) / 100:.10g} s"
    )


def test_wherever_it_is_cut_a_file_is_a_beginning_and_told_or_refused(tmp_path):
    """Samples of 57 bytes in chunks of 4, then clock offsets and footers of two streams."""
    short = {"stamps": imu().stamps[:12], "values": imu().values[:12]}
    one = imu(samples_per_chunk=4, offsets=((1000.0, 0.0), (1000.1, 0.0)), **short)
    content = xdf(one, dataclasses.replace(one, name="foot", values=-one.values))
    first = content.index(struct.pack("<d", 1000.0)) - 9  # samples begin
    own_footer_ends = content.index(b"<info></info>") + len(b"<info></info>")
    path = tmp_path / "a.xdf"
    refused = []
    for at in range(first, len(content) + 1, 3):
        path.write_bytes(content[:at])
        try:
            log = read_log(request(path, select="shank"))
        except LogError:
            refused.append(at)
            continue
        n = len(log.time_s)
        np.testing.assert_array_equal(log.accel_mps2, one.values[:n, :3] * 9.80665)
        np.testing.assert_array_equal(log.gyro_radps, one.values[:n, 3:])
        np.testing.assert_allclose(log.time_s, one.stamps[:n], rtol=0, atol=1e-9)
        assert bool(log.cut_short) is (at < own_footer_ends)
        assert log.cut_short or n == 12
    assert max(refused) < first + 4 * 57 + 9  # not one chunk was whole


def test_a_whole_file_is_not_told(tmp_path):
    assert read(tmp_path, imu(), imu("foot"), select="foot").cut_short == ""
    assert read(tmp_path, imu(footer=False)).cut_short.startswith("the stream has no footer")


def test_damage_within_a_file_is_no_cut(tmp_path):
    """A chunk whose length has a width that there is not: pyxdf looks for where it goes on."""
    path = tmp_path / "a.xdf"
    path.write_bytes(xdf(imu()) + b"\x07" * 400)
    log = read_log(request(path))
    np.testing.assert_array_equal(log.gyro_radps, imu().values[:, 3:])
    assert log.cut_short == ""


def test_no_samples(tmp_path):
    empty = imu(stamps=np.empty(0), values=np.empty((0, 6)))
    assert "found 0 samples; allowed: 2 or more" in refusal(tmp_path, empty)


def test_without_pyxdf_the_way_to_it_is_named(tmp_path, monkeypatch):
    plain = builtins.__import__

    def without(name, *rest, **more):
        if name == "pyxdf":
            raise ModuleNotFoundError(name)
        return plain(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    assert refusal(tmp_path, imu()) == "reading XDF needs pyxdf: pip install 'imuproc[xdf]'"


VALUES = st.floats(-1e9, 1e9) | st.just(float("nan"))


@given(
    stamps=st_np.arrays(np.float64, st.integers(2, 9), elements=st.floats(-1e9, 1e9)),
    data=st.data(),
    rows=st.integers(2, 5),
)
@settings(max_examples=60, deadline=None)
def test_whatever_is_written_is_read(tmp_path_factory, stamps, data, rows):
    values = data.draw(st_np.arrays(np.float64, (len(stamps), 6), elements=VALUES))
    path = tmp_path_factory.mktemp("xdf") / "a.xdf"
    path.write_bytes(xdf(imu(stamps=stamps, values=values, samples_per_chunk=4)))
    log = read_log(request(path))
    np.testing.assert_array_equal(log.time_s, stamps)
    np.testing.assert_array_equal(log.gyro_radps, values[:, 3:])
    pieces = list(stream_log(request(path), rows))
    np.testing.assert_array_equal(np.concatenate([p.accel_mps2 for p in pieces]), log.accel_mps2)


@pytest.mark.parametrize("extra", [{"rate_hz": 100}, {"time": {"column": "t", "unit": "s"}}])
def test_a_layout_without_the_format_says_how_xdf_is_stated(tmp_path, extra):
    layout = {key: value for key, value in LAYOUT.items() if key != "format"} | extra
    assert 'states format = "xdf", accel and gyro, and neither time' in refusal(
        tmp_path, imu(), layout=layout
    )
