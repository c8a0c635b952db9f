"""What is in an archive, and that its bytes depend on its content only."""

import os
import platform
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.columns import BY_NAME, step_table_columns
from imuproc.core.errors import ArchiveError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Slip
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from imuproc.results.archive.reading import ArchivedRun
from imuproc.results.archive.values import read_attribute
from imuproc.results.archive.writing import write_run_archive
from tests.archive.made_archives import (
    INPUTS,
    failed_archive,
    provenance,
    small_archive,
)
from tests.archive.real_results import real_result, several_runs
from tests.guards.sources import REPO
from tests.report.fake_result import fake_recording, fake_result, fake_steps


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("archive") / "R07-01.h5"
    write_run_archive(path, real_result(), provenance("R07-01", settings=Settings()))
    return path


@pytest.fixture
def run(path: Path) -> Iterator[ArchivedRun]:
    with imuproc.open_archive(path) as archive:
        yield archive.run("R07-01")


def test_tables_are_those_of_the_result(run: ArchivedRun) -> None:
    result = real_result()
    pd.testing.assert_frame_equal(run.steps, result.steps, check_exact=True)
    assert list(run.uncertainty) == list(result.uncertainty)
    for figure, parts in result.uncertainty.items():
        pd.testing.assert_frame_equal(run.uncertainty[figure], parts, check_exact=True)


def test_events_carry_their_evidence(run: ArchivedRun) -> None:
    contacts = real_result().contacts
    events = run.events
    assert events["side"].tolist() == contacts.side.tolist()
    for name in ("touchdown_s", "toe_off_s", "touchdown_u_s", "toe_off_u_s"):
        np.testing.assert_array_equal(events[name], getattr(contacts, name))
    assert contacts.evidence
    for name, values in contacts.evidence.items():
        np.testing.assert_array_equal(events[name], values)


def test_curves_are_those_of_the_result_in_single_precision(run: ArchivedRun) -> None:
    curves = real_result().curves
    pd.testing.assert_frame_equal(
        run.curves(), curves.astype(dict.fromkeys(run.curve_names, "f4")), check_exact=True
    )
    one = run.curve("shin_angle_left_deg")
    assert one.dtype == np.float32
    # Half a unit in the last place of single precision at 180 deg is below 1e-5 deg.
    np.testing.assert_allclose(one, curves["shin_angle_left_deg"], rtol=0, atol=1e-5)
    assert list(run.curves(["foot_pitch_right_deg"])) == ["time_s", "foot_pitch_right_deg"]
    np.testing.assert_array_equal(run.time_s, curves["time_s"])


def test_signals_and_motion_are_those_of_the_result(run: ArchivedRun) -> None:
    result = real_result()
    assert run.sites == tuple(result.conditioned.segments)
    assert run.moving_sites == tuple(result.motion.segments)
    for site, segment in result.conditioned.segments.items():
        signals = run.signals(site)
        np.testing.assert_array_equal(signals.time_s, result.conditioned.time_s)
        np.testing.assert_array_equal(signals.accel_mps2, segment.accel_mps2.astype("f4"))
        np.testing.assert_array_equal(signals.gyro_radps, segment.gyro_radps.astype("f4"))
        for name in ("measured", "accel_clipped", "gyro_clipped"):
            np.testing.assert_array_equal(getattr(signals, name), getattr(segment, name))
        kept, calibration = vars(signals.calibration), vars(segment.calibration)
        for name in ("segment_from_sensor", "gyro_bias_radps"):
            np.testing.assert_array_equal(kept.pop(name), calibration[name])
        assert kept == {name: calibration[name] for name in kept}
    for site, segment in result.motion.segments.items():
        moving = run.motion(site)
        for name in ("quat_wxyz", "velocity_mps", "pitch_rad", "pitch_u_rad"):
            np.testing.assert_array_equal(
                getattr(moving, name), getattr(segment, name).astype("f4")
            )
        np.testing.assert_array_equal(moving.lever_m, segment.lever_m)


def test_where_it_comes_from_is_in_it(run: ArchivedRun) -> None:
    result = real_result()
    recording = result.conditioned.recording
    assert run.status == "done"
    assert run.fingerprint == "f" * 64
    assert run.inputs == INPUTS
    assert run.settings["motion"]["stance_from"] == Settings().motion.stance_from
    assert list(run.settings) == list(vars(Settings()))
    assert run.versions["imuproc"] == imuproc.__version__
    assert run.versions["numpy"] == np.__version__
    assert run.versions["python"] == f"{sys.version_info.major}.{sys.version_info.minor}"
    assert [entry.stage for entry in run.history] == [e.stage for e in result.history]
    assert run.history[1].parameters["rate_hz"] == result.history[1].parameters["rate_hz"]
    assert run.flags == result.flags
    assert run.about["athlete"]["stature_m"] == recording.athlete.stature_m
    assert run.about["run"]["start"] == recording.run.start
    assert run.about["rate_hz"] == result.conditioned.rate_hz
    assert set(run.about["logs"]) == set(recording.logs)
    assert np.isnan(run.summary["figures"]["mean_speed_mps"])


def test_flags_come_back_with_all_they_say(tmp_path: Path) -> None:
    recording = fake_recording()
    flags = (
        RaisedFlag("run_refused", {"reason": "é, \0 and a half \ud800"}, "left_foot", 3, ""),
        RaisedFlag("no_standing", run="R07-01", span_s=(3.0, 4.0)),
        RaisedFlag("stuck_channel", {"sensor": "gyroscope"}, span_s=(-np.inf, np.inf)),
        RaisedFlag("a_flag_of_another_version", {"by_m": 1 / 3, "count": 3, "so": True}),
        RaisedFlag("gap", {"samples": 4}, run="R07-01_2"),
    )
    write_run_archive(tmp_path / "a.h5", fake_result(recording, flags=flags), provenance("R07-01"))
    with imuproc.open_archive(tmp_path / "a.h5") as archive:
        assert archive.run("R07-01").flags == flags[:4]


def test_every_array_and_column_says_what_it_is_and_in_which_unit(path: Path) -> None:
    def look(name: str, thing: h5py.Group | h5py.Dataset) -> None:
        if not isinstance(thing, h5py.Dataset):
            return
        names = thing.dtype.names or (name.rsplit("/", 1)[-1],)
        units, meanings = (np.atleast_1d(thing.attrs[key]) for key in ("unit", "meaning"))
        for column, unit, meaning in zip(names, units, meanings, strict=True):
            assert meaning.endswith(b"."), column
            ending = column.rsplit("_", 1)[-1]
            if ending in ("s", "hz", "deg", "m", "mps", "rad", "radps", "mps2", "mps3"):
                assert unit, column
            seen.append(column)

    seen: list[str] = []
    with h5py.File(path) as file:
        file.visititems(look)
        assert {"accel_mps2", "quat_wxyz", "jerk_mps3", "shin_angle_left_deg"} <= set(seen)
        steps = file["runs/R07-01/steps"]
        assert list(steps.dtype.names) == step_table_columns()
        for n, column in enumerate(BY_NAME.values()):
            assert steps.attrs["unit"][n].decode() == column.unit
            assert steps.attrs["meaning"][n].decode() == column.meaning
        parts = file["runs/R07-01/uncertainty/step_length_m"]
        assert read_attribute(parts, "unit") == "m"
        assert read_attribute(parts, "parts").startswith('["stride"')
        assert '""' not in read_attribute(parts, "part_meanings")


def test_every_run_of_a_log_is_in_its_archive(tmp_path: Path) -> None:
    result = several_runs()
    names = ["R07-02_1", "R07-02_2"]
    refused = RaisedFlag("run_refused", {"reason": "no sensor can be used"}, span_s=(80.0, 90.0))
    result = replace(result, flags=(*result.flags, refused))
    write_run_archive(tmp_path / "R07-02.h5", result, provenance(*names))
    with imuproc.open_archive(tmp_path / "R07-02.h5") as archive:
        assert archive.runs == tuple(names)
        assert archive.kind == "recording"
        pd.testing.assert_frame_equal(archive.steps, result.steps, check_exact=True)
        for name in names:
            run = archive.run(name)
            assert set(run.steps["run"]) == {name}
            assert run.summary["run"] == name
            assert run.flags == tuple(f for f in result.flags if f.run in ("", name))
            assert refused in run.flags
            assert len(run.events) == len(run.steps)
            assert len(run.curve("foot_pitch_left_deg")) == len(run.time_s) > 1000


def test_runs_stand_in_their_order_not_in_that_of_the_alphabet(tmp_path: Path) -> None:
    result = several_runs()
    parts = tuple(
        replace(part, run=f"R07-02_{n}", steps=part.steps.assign(run=f"R07-02_{n}"))
        for n, part in zip((2, 10), result.parts, strict=True)
    )
    write_run_archive(tmp_path / "a.h5", replace(result, parts=parts), provenance())
    with imuproc.open_archive(tmp_path / "a.h5") as archive:
        assert archive.runs == ("R07-02_2", "R07-02_10")


def test_a_recording_that_failed_keeps_its_reason(tmp_path: Path) -> None:
    path = failed_archive(tmp_path / "R07-09.h5")
    with imuproc.open_archive(path) as archive:
        run = archive.run("R07-09")
        assert run.status == "failed"
        assert run.summary["reason"] == "no sprint steps found"
        assert run.fingerprint == "f" * 64
        assert list(run.steps) == step_table_columns()
        assert run.steps.dtypes.equals(fake_steps(3).dtypes)
        assert len(run.steps) == len(archive.steps) == 0
        assert run.uncertainty == {}
        assert run.flags == ()
        with pytest.raises(ArchiveError, match=r"R07-09: has no events; it could not be processed"):
            _ = run.events
        with pytest.raises(ArchiveError, match=r"R07-09: has no curve .*it has: none"):
            run.curve("shin_angle_left_deg")


def test_the_same_content_gives_the_same_bytes(path: Path, tmp_path: Path) -> None:
    time.sleep(1.1)  # HDF5 notes times to the second, where it does
    again = tmp_path / "again.h5"
    write_run_archive(again, real_result(), provenance("R07-01", settings=Settings()))
    assert again.read_bytes() == path.read_bytes()


def test_other_processes_write_the_same_bytes(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from pathlib import Path\n"
        "from tests.archive.made_archives import small_archive\n"
        "small_archive(Path(sys.argv[1]))\n"
    )
    places = {"0": "UTC", "1": "Asia/Tokyo"}
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path / f"{seed}.h5")],
            cwd=REPO,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": place},
        )
        for seed, place in places.items()
    ]
    assert [process.wait(120) for process in processes] == [0, 0]
    ours = small_archive(tmp_path / "ours.h5").read_bytes()
    for seed in places:
        assert (tmp_path / f"{seed}.h5").read_bytes() == ours


def test_no_place_and_no_machine_is_in_it(path: Path, tmp_path: Path) -> None:
    result = real_result()
    recording = result.conditioned.recording
    logs = {
        site: replace(log, source=source)
        for (site, log), source in zip(
            recording.logs.items(),
            (f"{tmp_path}/a.csv", "C:\\logs\\b.csv", "logs/c.csv", "d.csv"),
            strict=True,
        )
    }
    conditioned = replace(result.conditioned, recording=replace(recording, logs=logs))
    write_run_archive(
        tmp_path / "a.h5", replace(result, conditioned=conditioned), provenance("R07-01")
    )
    content = (tmp_path / "a.h5").read_bytes()
    assert b'"logs/c.csv"' in content  # texts lie open, so that the search can find something
    for word in (str(tmp_path), str(REPO), "C:\\\\logs", f'"{platform.node()}"'):
        assert word.encode() not in content
    with imuproc.open_archive(tmp_path / "a.h5") as archive:
        kept = archive.run("R07-01").about["logs"].values()
    assert [log["source"] for log in kept] == ["a.csv", "b.csv", "logs/c.csv", "d.csv"]


def test_the_order_of_the_inputs_does_not_matter(tmp_path: Path) -> None:
    result = fake_result(fake_recording())
    for name, inputs in (("a", INPUTS), ("b", dict(reversed(INPUTS.items())))):
        write_run_archive(tmp_path / f"{name}.h5", result, provenance("R07-01", inputs=inputs))
    assert (tmp_path / "a.h5").read_bytes() == (tmp_path / "b.h5").read_bytes()


def test_other_content_gives_other_bytes(tmp_path: Path) -> None:
    first = small_archive(tmp_path / "a.h5").read_bytes()
    result = fake_result(fake_recording())
    write_run_archive(tmp_path / "b.h5", result, provenance("R07-01", fingerprint="e" * 64))
    assert (tmp_path / "b.h5").read_bytes() != first


@pytest.mark.parametrize("run_id", ["../R07", "a/b", "", "."])
def test_an_id_that_names_no_place_is_refused(tmp_path: Path, run_id: str) -> None:
    result = fake_result(fake_recording(run_id))
    with pytest.raises(ArchiveError, match=r"a\.h5: found '.*' as id of a run; allowed"):
        write_run_archive(tmp_path / "a.h5", result, provenance(run_id))
    assert list(tmp_path.iterdir()) == []


def _other_clock(result: Result) -> Result:
    return replace(result, curves=result.curves.assign(time_s=result.curves["time_s"] + 0.001))


def test_what_does_not_fit_together_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with pytest.raises(ArchiveError, match=r"run R07-01: curves and signals are not on the same"):
        write_run_archive(path, _other_clock(real_result()), provenance("R07-01"))
    with pytest.raises(ArchiveError, match=r"run R07-02: found steps of R07-02_1, R07-02_2"):
        write_run_archive(path, replace(several_runs(), parts=()), provenance("R07-02"))
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_leaves_the_old_archive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = small_archive(tmp_path / "a.h5")
    before = path.read_bytes()

    def stop(*_arguments: object) -> None:
        raise KeyboardInterrupt("stop")

    monkeypatch.setattr("imuproc.results.archive.writing._build_event_table", stop)
    with pytest.raises(KeyboardInterrupt, match="stop"):
        small_archive(path, "R07-02")
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_slip_and_a_zero_that_moved_come_back(tmp_path: Path) -> None:
    result = real_result()
    slip = Slip(4.0, 4.5, True, (0.1, -0.2, 0.3))
    foot = result.conditioned.segments["left_foot"]
    calibration = replace(foot.calibration, slip=slip, slip_u_rad=0.02, zero_moved_radps=0.01)
    segments = {**result.conditioned.segments, "left_foot": replace(foot, calibration=calibration)}
    changed = replace(result, conditioned=replace(result.conditioned, segments=segments))
    write_run_archive(tmp_path / "a.h5", changed, provenance("R07-01"))
    with imuproc.open_archive(tmp_path / "a.h5") as archive:
        kept = archive.run("R07-01").signals("left_foot").calibration
    assert kept.slip == slip
    assert (kept.slip_u_rad, kept.zero_moved_radps) == (0.02, 0.01)
