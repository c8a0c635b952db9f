"""BIDS Motion: what the files beside a recording say is what counts."""

import datetime
import json

import numpy as np
import pytest

from imuproc.core.errors import LogError
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import list_input_files, read_log
from imuproc.readers.logs.request import LogRequest

N = 20
STEM = "sub-R07_ses-a_task-run_tracksys-imu_run-1"
HEADS = ["name", "component", "type", "tracked_point", "units"]
PLACE = f"sub-R07/ses-a/motion/{STEM}_motion.tsv"


def rows():
    """Two tracked points and one clock."""
    found = [["t", "n/a", "LATENCY", "n/a", "s"]]
    for point in ("left_shank", "left_foot"):
        for kind, units in (("ACCEL", "m/s^2"), ("GYRO", "deg/s")):
            found += [[f"{point}_{kind}_{a}", a, kind, point, units] for a in "zyx"]
    return found


def table():
    signals = np.arange(12 * N, dtype=float).reshape(N, 12) / 7
    return np.column_stack([np.arange(N) / 128.0, signals])


class Dataset:
    """A data set that a test may change before it is read."""

    def __init__(self, folder):
        self.folder = folder
        self.motion = folder / "sub-R07/ses-a/motion"
        self.motion.mkdir(parents=True)
        (folder / "dataset_description.json").write_text("{}")
        self.write_channels(rows())
        self.write_json({"SamplingFrequency": 100})
        self.write_motion(table())

    def write_channels(self, content, heads=HEADS, folder=None, name=f"{STEM}_channels.tsv"):
        lines = ["\t".join(row) for row in [heads, *content]]
        ((folder or self.motion) / name).write_text("\n".join(lines) + "\n")

    def write_json(self, content, folder=None, name=f"{STEM}_motion.json"):
        ((folder or self.motion) / name).write_text(json.dumps(content))

    def write_motion(self, values):
        cells = [["n/a" if np.isnan(v) else repr(float(v)) for v in row] for row in values]
        text = "".join("\t".join(row) + "\n" for row in cells)
        (self.folder / PLACE).write_text(text)

    def request(self, select="left_foot"):
        return LogRequest("left_foot", self.folder / PLACE, PLACE, Layout(), select)

    def read(self, select="left_foot"):
        return read_log(self.request(select))

    def refusal(self, select="left_foot"):
        with pytest.raises(LogError, match=rf"^{PLACE} \(left_foot\): ") as caught:
            self.read(select)
        return str(caught.value).removeprefix(f"{PLACE} (left_foot): ")


@pytest.fixture
def dataset(tmp_path):
    return Dataset(tmp_path)


def test_channels_by_component_of_one_tracked_point(dataset):
    log = dataset.read()
    np.testing.assert_array_equal(log.accel_mps2, table()[:, [9, 8, 7]])
    np.testing.assert_allclose(log.gyro_radps, np.radians(table()[:, [12, 11, 10]]), rtol=1e-15)
    np.testing.assert_array_equal(log.time_s, np.arange(N) / 128.0)
    np.testing.assert_array_equal(dataset.read("left_shank").accel_mps2, table()[:, [3, 2, 1]])
    assert log.accel_range_mps2 is None


def test_which_tracked_point_must_be_said(dataset):
    allowed = "allowed: a select that names one of 'left_shank', 'left_foot'"
    assert dataset.refusal(None) == f"found 2 tracked points; {allowed}"
    assert dataset.refusal("pelvis") == f"found no tracked point 'pelvis'; {allowed}"


def test_rate_where_no_channel_has_stamps(dataset):
    dataset.write_channels(rows()[1:])
    dataset.write_motion(table()[:, 1:])
    np.testing.assert_array_equal(dataset.read().time_s, np.arange(N) / 100)
    dataset.write_json({"SamplingFrequency": "n/a"})
    assert dataset.refusal().startswith("SamplingFrequency: found 'n/a' and no channel of stamps")
    dataset.write_channels([[*row, "50"] for row in rows()[1:]], [*HEADS, "sampling_frequency"])
    np.testing.assert_array_equal(dataset.read().time_s, np.arange(N) / 50)


def test_files_further_up_count_where_the_nearer_ones_say_nothing(dataset):
    """The inheritance principle of the BIDS specification, common principles."""
    dataset.write_channels(rows()[1:])
    dataset.write_motion(table()[:, 1:])
    dataset.write_json({"SamplingFrequency": 25}, dataset.folder, "task-run_motion.json")
    assert dataset.read().time_s[1] == 1 / 100
    dataset.write_json({"TaskName": "run"})
    assert dataset.read().time_s[1] == 1 / 25
    dataset.write_json({"SamplingFrequency": 50}, dataset.folder / "sub-R07", "sub-R07_motion.json")
    assert dataset.read().time_s[1] == 1 / 50
    dataset.write_json({"SamplingFrequency": 1}, dataset.folder, "task-jump_motion.json")
    assert dataset.read().time_s[1] == 1 / 50  # of another task
    (dataset.motion / f"{STEM}_channels.tsv").unlink()
    dataset.write_channels(rows()[1:], HEADS, dataset.folder, "task-run_channels.tsv")
    assert dataset.read().time_s[1] == 1 / 50


def test_nothing_is_taken_from_outside_the_dataset(dataset, tmp_path):
    (dataset.folder / "dataset_description.json").unlink()
    dataset.write_json({"SamplingFrequency": 25}, dataset.folder, "task-run_motion.json")
    dataset.write_json({})
    dataset.write_channels(rows()[1:])
    dataset.write_motion(table()[:, 1:])
    assert dataset.refusal().startswith("SamplingFrequency: found 'n/a'")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("2031-04-12T09:30:00Z", datetime.datetime(2031, 4, 12, 9, 30, tzinfo=datetime.UTC)),
        ("2031-04-12T09:30:00.25", datetime.datetime(2031, 4, 12, 9, 30, 0, 250_000)),
        ("n/a", None),
    ],
)
def test_time_of_day_from_the_scans(dataset, text, wanted):
    scans = dataset.folder / "sub-R07/ses-a/sub-R07_ses-a_scans.tsv"
    scans.write_text(f"filename\tacq_time\nmotion/x\t1\nmotion/{STEM}_motion.tsv\t{text}\n")
    assert dataset.read().zero_at == wanted
    scans.write_text(f"filename\tacq_time\nmotion/{STEM}_motion.tsv\tnoon\n")
    assert dataset.refusal().startswith("sub-R07_ses-a_scans.tsv, acq_time: found 'noon'; allowed")


def test_own_stamps_go_before_latency(dataset):
    own = [["left_foot_time_s", "n/a", "MISC", "left_foot", "ms"]]
    dataset.write_channels([*rows(), *own])
    stamps = 5e6 + 7.0 * np.arange(N)
    dataset.write_motion(np.column_stack([table(), stamps]))
    dataset.write_json({"StampsZeroAt": "2031-04-12T09:30:00+02:00"})
    log = dataset.read()
    np.testing.assert_array_equal(log.time_s, stamps / 1000)
    assert log.zero_at.isoformat() == "2031-04-12T09:30:00+02:00"
    np.testing.assert_array_equal(dataset.read("left_shank").time_s, np.arange(N) / 128.0)


def test_missing_values_and_bad_channels(dataset):
    values = table()
    values[3, 7] = np.nan
    dataset.write_motion(values)
    assert np.argwhere(np.isnan(dataset.read().accel_mps2)).tolist() == [[3, 2]]
    states = [[*row, "bad" if "foot_GYRO_y" in row[0] else "good"] for row in rows()]
    dataset.write_channels(states, [*HEADS, "status"])
    assert np.isnan(dataset.read().gyro_radps).all(axis=0).tolist() == [False, True, False]


def test_ranges(dataset):
    scales = ["160" if row[2] == "ACCEL" else "n/a" for row in rows()]
    with_scale = [[*row, scale] for row, scale in zip(rows(), scales, strict=True)]
    dataset.write_channels(with_scale, [*HEADS, "range"])
    assert dataset.read().accel_range_mps2 == 160.0
    assert dataset.read().gyro_range_radps is None
    with_scale[7][-1] = "-3"
    dataset.write_channels(with_scale, [*HEADS, "range"])
    assert "range: found '-3', '160'; allowed: a number" in dataset.refusal()


def without(index):
    return [row for place, row in enumerate(rows()) if place != index]


def changed(index, column, text):
    content = rows()
    content[index][column] = text
    return content


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ([], "channels.tsv: found no channels"),
        (without(8), "type ACCEL: found channels: 1 with component x, 0 with component y, 1"),
        (
            changed(8, 1, "x"),
            "found channels: 2 with component x, 0 with component y, 1 with",
        ),
        (changed(8, 4, "uT"), "channel 'left_foot_ACCEL_y', units: found the unit 'uT'; allowed:"),
        (changed(8, 4, "g"), "found units that differ"),
        (changed(1, 2, "LATENCY"), "line 1: found 13 cells; allowed: 12"),
        ([*rows(), rows()[0]], "found several channels of stamps: 't', 't'; allowed: one"),
        ([*rows(), changed(1, 2, "POS")[1]], "line 1: found 13 cells; allowed: 14"),
    ],
)
def test_channels_that_do_not_fit(dataset, content, expected):
    if expected.startswith("line 1: found 13 cells; allowed: 12"):
        content = without(1)
    dataset.write_channels(content)
    assert expected in dataset.refusal()


def test_files_that_are_missing_or_wrong(dataset):
    dataset.write_channels(rows(), ["name", "type", "component", "point", "units"])
    assert dataset.refusal() == f"{STEM}_channels.tsv: missing columns: 'tracked_point'"
    (dataset.motion / f"{STEM}_channels.tsv").write_bytes(b"\xff\xfe\x00")
    assert "this is not a table in UTF-8" in dataset.refusal()
    (dataset.motion / f"{STEM}_channels.tsv").unlink()
    assert dataset.refusal().startswith(f"found no '{STEM}_channels.tsv', which says what the col")
    dataset.write_channels(rows())
    for content, said in (("{", "this is not JSON"), ("[]", "allowed: a JSON object")):
        (dataset.motion / f"{STEM}_motion.json").write_text(content)
        assert f"{STEM}_motion.json: {said}" in dataset.refusal()
    dataset.write_json({})
    (dataset.folder / PLACE).write_text("t\tx\n" + (dataset.folder / PLACE).read_text())
    assert dataset.refusal().startswith("line 1: found 2 cells; allowed: 13")


def test_a_file_of_another_name_is_no_recording(dataset, tmp_path):
    path = tmp_path / "log.tsv"
    path.write_text("1\t2\n")
    how = Layout(format="bids-motion")
    with pytest.raises(LogError, match=r"found another name; allowed: a file whose name end"):
        read_log(LogRequest("left_foot", path, "log.tsv", how))


def test_files_beside_count_as_inputs(dataset):
    files = list_input_files(dataset.request())
    folder = "sub-R07/ses-a/motion"
    assert list(files) == [PLACE, f"{folder}/{STEM}_channels.tsv", f"{folder}/{STEM}_motion.json"]
    scans = dataset.folder / "sub-R07/ses-a/sub-R07_ses-a_scans.tsv"
    scans.write_text("filename\n")
    assert list_input_files(dataset.request())["sub-R07/ses-a/sub-R07_ses-a_scans.tsv"] == scans
