"""Whole sessions in another form."""

import json
import tomllib
import tracemalloc

import numpy as np
import pytest

from imuproc.convert import bids
from imuproc.convert.work import FORMS, convert
from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from tests.convert.bits import assert_same_log
from tests.readers.samples import SESSION, text, write_session

DATED = SESSION.replace('unit = "s" }', 'unit = "s", zero = 2031-04-12T09:30:00+02:00 }')
IRREGULAR = text(n=40).replace("0.05,", "0.0512345678901234,").replace("0.07,", ",")


@pytest.fixture
def session(tmp_path):
    path = write_session(tmp_path / "in", DATED)
    (tmp_path / "in/logs/1_ls.csv").write_text(IRREGULAR)
    return read_session(path)


def files_in(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def assert_same_session(new, old, runs=None):
    for name in ("id", "date", "surface", "latitude_deg", "note", "gravity_mps2", "athletes"):
        assert getattr(new, name) == getattr(old, name)
    assert new.runs == tuple(run for run in old.runs if runs is None or run.id in runs)
    for run in new.runs:
        ours, theirs = new.read_run(run.id), old.read_run(run.id)
        assert list(ours.logs) == list(theirs.logs)
        assert ours.athlete == theirs.athlete
        for site, log in theirs.logs.items():
            assert_same_log(ours.logs[site], log)


@pytest.mark.parametrize("form", FORMS)
def test_the_new_session_is_the_old_one(session, tmp_path, form):
    told = []
    converted = convert(
        session, form, tmp_path / "out", report_progress=lambda *count: told.append(count)
    )
    assert (converted.logs, converted.failures) == (3, ())
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]
    new = read_session(converted.session)
    assert_same_session(new, session)
    assert new.read_run("R07-01").logs["left_shank"].zero_at.isoformat().endswith("09:30:00+02:00")


@pytest.mark.parametrize("first", FORMS)
@pytest.mark.parametrize("second", FORMS)
def test_from_form_to_form(session, tmp_path, first, second):
    path = convert(session, first, tmp_path / "one").session
    path = convert(read_session(path), second, tmp_path / "two").session
    assert_same_session(read_session(path), session)


@pytest.mark.parametrize("form", FORMS)
def test_some_runs(session, tmp_path, form):
    converted = convert(session, form, tmp_path / "out", ["R08-01"])
    assert_same_session(read_session(converted.session), session, ["R08-01"])
    with pytest.raises(SessionError, match="found no run 'R09'"):
        convert(session, form, tmp_path / "out", ["R09"])


@pytest.mark.parametrize("form", FORMS)
def test_a_bad_log_does_not_stop_the_others(session, tmp_path, form):
    (tmp_path / "in/logs/1_rf.csv").write_text(text(n=90) + "broken\n")
    (tmp_path / "in/logs/2_lf.csv").unlink()
    converted = convert(session, form, tmp_path / "out")
    assert converted.logs == 1
    assert [(f.run, f.site) for f in converted.failures] == [
        ("R07-01", "right_foot"),
        ("R08-01", "left_foot"),
    ]
    assert "1_rf.csv (right_foot): line 92: found 1 cell;" in converted.failures[0].reason
    new = read_session(converted.session)
    assert [run.id for run in new.runs] == ["R07-01"]  # the other has no log left
    assert list(new.read_run("R07-01").logs) == ["left_shank"]
    assert not any("right" in name or ".part" in name for name in files_in(tmp_path / "out"))


def test_no_log_can_be_read(session, tmp_path):
    for path in (tmp_path / "in/logs").iterdir():
        path.unlink()
    converted = convert(session, "hdf5", tmp_path / "out")
    assert (converted.session, converted.logs, len(converted.failures)) == (None, 0, 3)
    assert files_in(tmp_path / "out") == [".imuproc-convert.json"]


def test_again_into_the_same_folder(session, tmp_path):
    out = tmp_path / "out"
    convert(session, "bids-motion", out)
    convert(session, "parquet", out, ["R08-01"])
    assert files_in(out) == [
        ".imuproc-convert.json",
        "logs/R08-01_left_foot.parquet",
        "session.toml",
    ]
    before = {name: (out / name).read_bytes() for name in files_in(out)}
    convert(session, "parquet", out, ["R08-01"])
    assert {name: (out / name).read_bytes() for name in files_in(out)} == before


def test_files_of_others_are_not_touched(session, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "session.toml").write_text("mine")
    with pytest.raises(SessionError, match="found files that imuproc convert did not write; allow"):
        convert(session, "hdf5", out)
    assert files_in(out) == ["session.toml"]
    with pytest.raises(SessionError, match="found a file; allowed as output: a folder"):
        convert(session, "hdf5", out / "session.toml")
    with pytest.raises(SessionError, match="is the folder of the session itself"):
        convert(session, "hdf5", tmp_path / "in")


def test_a_mark_that_names_files_elsewhere_harms_none(session, tmp_path):
    out, other = tmp_path / "out", tmp_path / "other.txt"
    convert(session, "hdf5", out)
    other.write_text("mine")
    (out / ".imuproc-convert.json").write_text(json.dumps({"files": ["../other.txt", 7]}))
    convert(session, "hdf5", out)
    assert other.read_text() == "mine"


def test_no_such_form(session, tmp_path):
    with pytest.raises(SessionError, match="--to: found 'csv'; allowed: 'bids-motion', 'hdf5', 'p"):
        convert(session, "csv", tmp_path / "out")


def test_parquet_has_a_layout_for_each_set_of_ranges(tmp_path):
    content = SESSION.replace(
        '"logs/1_rf.csv"', '{ file = "logs/1_rf.csv", layout = "other" }'
    ).replace("[[athlete]]", LAYOUT_WITHOUT_RANGE + "\n[[athlete]]", 1)
    session = read_session(write_session(tmp_path / "in", content))
    path = convert(session, "parquet", tmp_path / "out").session
    layouts = tomllib.loads(path.read_text())["layout"]
    assert list(layouts) == ["parquet", "parquet-2"]
    assert "range" not in layouts["parquet"]["accel"]
    assert layouts["parquet-2"]["accel"]["range"] == 16 * 9.80665
    assert_same_session(read_session(path), session)


LAYOUT_WITHOUT_RANGE = """\
[layout.other]
time = { column = "time_s", unit = "s" }
accel = { columns = ["ax", "ay", "az"], unit = "g" }
gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s" }
"""


def test_ids_that_differ_by_hyphens_stay_apart_in_bids(tmp_path):
    content = SESSION.replace('"R07"', '"R-7"').replace('"R08"', '"R7"')
    session = read_session(write_session(tmp_path / "in", content))
    targets = bids.list_targets(session, [run.id for run in session.runs])
    assert {target.file.split("/")[0] for target in targets} == {"sub-R7", "sub-R7x2"}
    path = convert(session, "bids-motion", tmp_path / "out").session
    assert_same_session(read_session(path), session)
    people = (tmp_path / "out/participants.tsv").read_text().splitlines()
    assert people == ["participant_id\tathlete", "sub-R7\tR-7", "sub-R7x2\tR7"]


def test_a_long_log_does_not_need_memory_for_all_of_it(tmp_path):
    session = read_session(write_session(tmp_path / "in", SESSION))
    header, *lines = text(n=1000).splitlines()
    (tmp_path / "in/logs/2_lf.csv").write_text("\n".join([header, *lines * 700]) + "\n")
    convert(session, "hdf5", tmp_path / "warm", ["R07-01"])
    tracemalloc.start()
    try:
        convert(session, "hdf5", tmp_path / "out", ["R08-01"])
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert (
        peak < 40e6
    )  # its numbers alone have 700 000 * 7 * 8 bytes, 39 MB; read whole, twice that
    log = read_session(tmp_path / "out/session.toml").read_run("R08-01").logs["left_foot"]
    assert len(log.time_s) == 700_000
    assert np.isfinite(log.accel_mps2).all()


def test_cut_short_the_old_session_file_does_not_name_logs_of_two_sessions(session, tmp_path):
    out = tmp_path / "out"
    convert(session, "hdf5", out)

    def stop(done, _of):
        if done == 1:
            raise KeyboardInterrupt("by the user")

    with pytest.raises(KeyboardInterrupt, match="by the user"):
        convert(session, "hdf5", out, report_progress=stop)
    assert "session.toml" not in files_in(out)
    assert convert(session, "hdf5", out).logs == 3  # and it can be taken up again
    assert_same_session(read_session(out / "session.toml"), session)
