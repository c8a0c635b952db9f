"""HDF5: our own layout, and datasets of others named by path."""

import datetime
from pathlib import Path

import h5py
import numpy as np
import pytest

from imuproc.core.errors import LogError
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import read_log
from imuproc.readers.logs.request import LogRequest

N = 50
KEPT = Path(__file__).resolve().parents[1] / "archive" / "kept" / "schema-1.h5"
FOREIGN = {
    "format": "hdf5",
    "time": {"column": "imu/stamp", "unit": "us"},
    "accel": {"columns": ["imu/acc"], "unit": "g", "range": 16},
    "gyro": {"columns": ["imu/gyro/x", "imu/gyro/y", "imu/gyro/z"], "unit": "deg/s"},
}


def request(path, layout=None, select=None):
    return LogRequest("pelvis", path, "a.h5", Layout.model_validate(layout or {}), select)


def refusal(path, layout=None, select=None):
    with pytest.raises(LogError, match=r"^a\.h5 \(pelvis\): ") as caught:
        read_log(request(path, layout, select))
    return str(caught.value).removeprefix("a.h5 (pelvis): ")


@pytest.fixture
def own(tmp_path):
    """Two sensors in our own layout."""
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file.attrs["format"], file.attrs["version"] = "imuproc sensor logs", 1
        for number, point in enumerate(("left_shank", "left_foot")):
            group = file.create_group(f"sensor{number}")
            group.attrs["tracked_point"] = point
            group.attrs["sampling_frequency"] = 100.0
            level = number + np.arange(N, dtype=float)
            for name, units, values in (
                ("time_s", "s", np.arange(N) / 100.0 + number),
                ("accel", "m/s^2", np.column_stack([level] * 3)),
                ("gyro", "rad/s", np.column_stack([level] * 3)),
            ):
                group[name] = values
                group[name].attrs["units"] = units
    return path


@pytest.fixture
def foreign(tmp_path):
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file["imu/stamp"] = 1_957_000_000_123_456 + 1000 * np.arange(N)
        file["imu/acc"] = np.arange(3 * N, dtype=np.int16).reshape(N, 3)
        for axis in "xyz":
            file[f"imu/gyro/{axis}"] = np.arange(N, dtype=np.float32)
    return path


def change(path, edit):
    with h5py.File(path, "r+") as file:
        edit(file)


@pytest.mark.parametrize("select", ["left_foot", "sensor1"])
def test_a_sensor_is_chosen_by_group_or_tracked_point(own, select):
    log = read_log(request(own, None, select))
    np.testing.assert_array_equal(log.time_s, np.arange(N) / 100.0 + 1)
    np.testing.assert_array_equal(log.accel_mps2[:, 2], np.arange(N) + 1.0)


def test_which_sensor_must_be_said(own):
    allowed = "allowed: a select that names one of 'sensor0', 'sensor1'"
    assert refusal(own) == f"found 2 sensors; {allowed}"
    assert refusal(own, None, "pelvis") == f"found no sensor 'pelvis'; {allowed}"


def test_rate_where_there_are_no_stamps(own):
    change(own, lambda file: file["sensor0"].pop("time_s"))
    np.testing.assert_array_equal(
        read_log(request(own, None, "sensor0")).time_s, np.arange(N) / 100.0
    )
    change(own, lambda file: file["sensor0"].attrs.pop("sampling_frequency"))
    assert "found neither time_s nor a sampling_frequency" in refusal(own, None, "sensor0")


@pytest.mark.parametrize("text", ["2031-04-12T09:30:00.250+02:00", "2031-04-12T07:30:00.250Z"])
def test_start_time(own, text):
    assert read_log(request(own, None, "sensor0")).zero_at is None
    change(own, lambda file: file["sensor0"].attrs.update(start_time=text))
    wanted = datetime.datetime(2031, 4, 12, 7, 30, 0, 250_000, datetime.UTC)
    assert read_log(request(own, None, "sensor0")).zero_at == wanted
    change(own, lambda file: file["sensor0"].attrs.update(start_time=text[:10] + " noon"))
    assert "start_time: found '2031-04-12 noon'; allowed: a date and" in refusal(
        own, None, "sensor0"
    )


@pytest.mark.parametrize(
    ("edit", "expected"),
    [
        (lambda f: f.attrs.update(version=2), "attribute version: found 2; this imuproc reads"),
        (
            lambda f: f["sensor0/accel"].attrs.update(units="uT"),
            "found the unit 'uT'; allowed: 'g'",
        ),
        (lambda f: f["sensor0/accel"].attrs.pop("units"), "'accel': found no unit; allowed: 'g', "),
        (lambda f: f["sensor0/gyro"].attrs.update(range=-1), "attribute range: found -1; allowed"),
        (
            lambda f: f["sensor0/gyro"].attrs.update(range="x"),
            "attribute range: found 'x'; allowed",
        ),
        (
            lambda f: f["sensor0"].pop("gyro"),
            "found no dataset 'gyro'; datasets: 'accel', 'time_s'",
        ),
    ],
)
def test_what_is_wrong_in_our_layout(own, edit, expected):
    change(own, edit)
    found = refusal(own, None, "sensor0").replace("dataset 'accel'", "'accel'")
    assert expected.replace("'accel': ", "") in found


def test_an_archive_of_results_is_no_log():
    for layout in ({}, FOREIGN, {"format": "hdf5"}):
        found = refusal(KEPT, layout)
        assert found.startswith(
            "found an archive of results that `imuproc process` wrote; allowed:"
        )


def test_datasets_of_others(foreign):
    log = read_log(request(foreign, FOREIGN))
    wanted = np.arange(3 * N).reshape(N, 3) * 9.80665
    np.testing.assert_allclose(log.accel_mps2, wanted, rtol=1e-15)
    np.testing.assert_allclose(log.gyro_radps[:, 1], np.radians(np.arange(N)), rtol=1e-15)
    assert log.accel_range_mps2 == pytest.approx(16 * 9.80665)
    # float64 holds seconds of this size to a quarter of a microsecond.
    np.testing.assert_allclose(np.diff(log.time_s), 0.001, atol=3e-7)


def test_whole_stamps_in_ns_are_made_seconds_before_they_are_rounded(foreign):
    stamps = 1_957_000_000_123_456_789 + 777_777 * np.arange(N, dtype=np.int64)
    change(foreign, lambda file: file["imu"].pop("stamp"))
    change(foreign, lambda file: file["imu"].update(stamp=stamps))
    layout = FOREIGN | {"time": {"column": "imu/stamp", "unit": "ns", "zero": "unix"}}
    log = read_log(request(foreign, layout))
    exact = [float(int(stamp) // 10**9) + (int(stamp) % 10**9) / 1e9 for stamp in stamps]
    np.testing.assert_array_equal(log.time_s, exact)
    assert log.zero_at == datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)


def test_select_is_the_group_that_paths_begin_in(tmp_path):
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file["clock"] = np.arange(N)  # shared by all
        for name, level in (("a", 1.0), ("b", 2.0)):
            file[f"sensors/{name}/acc"] = np.full((N, 3), level)
            file[f"sensors/{name}/gyr"] = np.full((N, 3), level)
    layout = {
        "format": "hdf5",
        "time": {"column": "clock", "unit": "ms"},
        "accel": {"columns": ["acc"], "unit": "m/s^2"},
        "gyro": {"columns": ["gyr"], "unit": "rad/s"},
    }
    assert (read_log(request(path, layout, "/sensors/b")).accel_mps2 == 2.0).all()
    assert (read_log(request(path, layout, "sensors/a/")).accel_mps2 == 1.0).all()
    assert "found no group 'sensors/c', which select names" in refusal(path, layout, "sensors/c")
    assert "groups: 'sensors', 'sensors/a'" in refusal(path, layout, "sensors/c")
    near = refusal(path, layout, "sensor/a")
    assert "did you mean 'sensors/a'?" in near


def test_fields_of_a_table(tmp_path):
    path = tmp_path / "a.h5"
    names = ("t", "ax", "ay", "az", "gx", "gy", "gz")
    table = np.zeros(N, dtype=[(name, "<f4") for name in names])
    table["t"], table["ay"] = np.arange(N), 2.5
    with h5py.File(path, "w") as file:
        file["log"] = table
    layout = {
        "time": {"column": "log/t", "unit": "ms"},
        "accel": {"columns": ["log/ax", "log/ay", "log/az"], "unit": "m/s^2"},
        "gyro": {"columns": ["log/gx", "log/gy", "log/gz"], "unit": "rad/s"},
    }
    np.testing.assert_array_equal(read_log(request(path, layout)).accel_mps2[0], [0, 2.5, 0])


@pytest.mark.parametrize(
    ("edit", "expected"),
    [
        (lambda f: f["imu"].pop("acc"), "found no dataset 'imu/acc' - did"),
        (lambda f: f["imu"].move("acc", "accs"), "no dataset 'imu/acc' - did you mean 'imu/accs'?"),
        (lambda f: f["imu"].move("gyro", "acc2"), "datasets: 'imu/acc', 'imu/acc2/x', 'im"),
    ],
)
def test_dataset_that_is_not_there(foreign, edit, expected):
    change(foreign, edit)
    assert expected in refusal(foreign, FOREIGN)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (np.zeros((3, N)), "dataset 'imu/acc': found the shape (3, 50); allowed: (samples, 3)"),
        (np.zeros(N), "dataset 'imu/acc': found the shape (50,); allowed: (samples, 3)"),
        (np.array(5.0), "dataset 'imu/acc': found the shape (); allowed: (samples, 3)"),
        (np.zeros((9, 3)), "dataset 'imu/gyro/x': found 50 samples; allowed: 9, as in 'imu/acc'"),
        (np.zeros((N, 3), dtype="S4"), "dataset 'imu/acc': found |S4; allowed: numbers"),
        (h5py.Empty("f8"), "dataset 'imu/acc': found the shape None; allowed: (samples, 3)"),
    ],
)
def test_dataset_of_another_shape_or_kind(foreign, values, expected):
    change(foreign, lambda file: file["imu"].pop("acc"))
    change(foreign, lambda file: file["imu"].create_dataset("acc", data=values))
    assert refusal(foreign, FOREIGN).endswith(expected)


def test_a_dataset_with_three_axes_in_a_list_of_three_says_how_it_is_named(foreign):
    layout = FOREIGN | {"accel": {"columns": ["imu/acc", "imu/b", "imu/c"], "unit": "g"}}
    assert "one with all three axes stands alone in the layout's list" in refusal(foreign, layout)


def test_other_files_are_not_followed(foreign, tmp_path):
    with h5py.File(tmp_path / "other.h5", "w") as other:
        other["acc"] = np.zeros((N, 3))
    change(foreign, lambda file: file["imu"].pop("acc"))
    link = h5py.ExternalLink("other.h5", "acc")
    change(foreign, lambda file: file["imu"].update(acc=link))
    assert refusal(foreign, FOREIGN).endswith("leads to another file; allowed: all in one file")
    change(foreign, lambda file: file["imu"].pop("acc"))
    change(foreign, lambda file: file.update(ext=link))
    change(foreign, lambda file: file["imu"].update(acc=h5py.SoftLink("/ext")))
    assert "in other files; allowed: all in one file" in refusal(foreign, FOREIGN)


def test_a_layout_that_names_nothing_needs_our_layout(foreign):
    found = refusal(foreign)
    assert "allowed: a layout that names time, accel and gyro by path; found datasets: 'im" in found


def test_a_damaged_heap_of_texts_is_refused_and_not_walked_without_end(own):
    content = bytearray(own.read_bytes())
    heap = content.index(b"GCOL")
    content[heap + 24 : heap + 32] = b"\xff" * 8  # length of its first text
    own.write_bytes(bytes(content))
    assert refusal(own, None, "sensor0") == "the file is damaged: a heap of texts in it has no end"
