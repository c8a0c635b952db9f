"""What a good session file gives."""

import datetime
import pickle
import subprocess
import sys
from itertools import islice

import numpy as np
import pytest

import imuproc
from imuproc.core.errors import LogError, SessionError
from imuproc.core.recording import Athlete, Run
from imuproc.readers.session import read_session
from tests.readers.samples import SESSION, link, values, write_session


def test_session_holds_what_the_file_says(tmp_path):
    path = write_session(tmp_path)
    session = imuproc.read_session(str(path))
    assert session.path == path
    assert session.id == "harbour-2031-04-12"
    assert session.date == datetime.date(2031, 4, 12)
    assert (session.surface, session.latitude_deg, session.note) == ("track", 45.0, "wind still")
    # WGS84 at 45 degrees.
    assert session.gravity_mps2 == pytest.approx(9.806197769, abs=1e-9)
    assert session.athletes == (
        Athlete("R07", 1.74, 0.41, 0.26, 2.5, 2009, "sprint-a", "junior", "left-footed"),
        Athlete("R08"),
    )
    first, second = session.runs
    assert first == Run(
        "R07-01", "three-point", 30.0, "shared", "track", None, 36.5, "first of the day"
    )
    assert second == Run("R08-01", "blocks", None, "separate", "track")
    assert session.athlete_of("R08-01").id == "R08"
    assert session.log_paths("R08-01") == {"left_foot": tmp_path / "logs" / "2_lf.csv"}


def test_a_lean_stated_for_the_session_holds_where_the_athlete_has_none_of_his_own(tmp_path):
    text = SESSION.replace('surface = "track"\n', 'surface = "track"\nstanding_lean_deg = 4.0\n', 1)
    athletes = imuproc.read_session(str(write_session(tmp_path, text))).athletes
    assert [athlete.standing_lean_deg for athlete in athletes] == [2.5, 4.0]


def test_recording_keeps_the_order_of_the_logs_and_si_units(tmp_path):
    recording = read_session(write_session(tmp_path)).read_run("R07-01")
    assert list(recording.logs) == ["right_foot", "left_shank"]
    log = recording.logs["right_foot"]
    assert log.source == "logs/1_rf.csv"
    np.testing.assert_allclose(log.time_s, values()[:, 0], rtol=0, atol=0)
    np.testing.assert_allclose(log.accel_mps2, values()[:, 1:4] * 9.80665, rtol=1e-15)
    np.testing.assert_allclose(log.gyro_radps, np.radians(values()[:, 4:]), rtol=1e-15)
    assert log.accel_range_mps2 == pytest.approx(16 * 9.80665)
    assert log.gyro_range_radps == pytest.approx(np.radians(2000))
    assert recording.session == "harbour-2031-04-12"
    assert recording.athlete.id == "R07"
    assert recording.gravity_mps2 == pytest.approx(9.806197769, abs=1e-9)
    assert recording.history[0].parameters["files"]["left_shank"] == "logs/1_ls.csv"


def test_without_latitude_gravity_is_standard(tmp_path):
    path = write_session(tmp_path, SESSION.replace("latitude_deg = 45.0\n", ""))
    assert read_session(path).gravity_mps2 == 9.80665


def test_belt_speed_on_a_treadmill(tmp_path):
    content = SESSION.replace('"track"', '"treadmill"')
    content = content.replace("curve_radius_m = 36.5", "belt_speed_mps = 6.5")
    assert read_session(write_session(tmp_path, content)).runs[0].belt_speed_mps == 6.5


def test_recordings_are_read_one_by_one(tmp_path):
    path = write_session(tmp_path)
    (tmp_path / "logs" / "2_lf.csv").unlink()  # the second run's only log
    recordings = read_session(path).recordings()
    assert [r.run.id for r in islice(recordings, 1)] == ["R07-01"]
    with pytest.raises(LogError, match=r"logs/2_lf\.csv \(left_foot\): there is no such file"):
        next(recordings)


def test_a_broken_log_stops_only_its_own_run(tmp_path):
    path = write_session(tmp_path)
    (tmp_path / "logs" / "1_ls.csv").write_bytes(b"\x00\x01\x02")
    session = read_session(path)
    outcomes = {}
    for run in session.runs:
        try:
            outcomes[run.id] = len(session.read_run(run.id).logs)
        except LogError as error:
            outcomes[run.id] = str(error)
    assert outcomes["R08-01"] == 1
    assert outcomes["R07-01"].startswith("logs/1_ls.csv (left_shank): ")


def test_unknown_run_says_which_there_are(tmp_path):
    session = read_session(write_session(tmp_path))
    with pytest.raises(SessionError, match=r"no run 'R07-1'; allowed: 'R07-01', 'R08-01' - did"):
        session.read_run("R07-1")


def test_several_sensors_in_one_file(tmp_path):
    content = SESSION.replace(
        '{ left_foot = "logs/2_lf.csv" }',
        '{ left_foot = { file = "logs/2_lf.csv", select = "LF_" },'
        ' left_shank = { file = "logs/2_lf.csv", select = "LS_" } }',
    )
    path = write_session(tmp_path, content)
    sensors = [f"{p}{n}" for p in ("LF_", "LS_") for n in ("ax", "ay", "az", "gx", "gy", "gz")]
    rows = np.hstack([values(), 2 * values()[:, 1:]])
    body = "".join(",".join(map(str, row)) + "\n" for row in rows)
    (tmp_path / "logs" / "2_lf.csv").write_text(",".join(["time_s", *sensors]) + "\n" + body)
    logs = read_session(path).read_run("R08-01").logs
    np.testing.assert_allclose(logs["left_foot"].gyro_radps, np.radians(values()[:, 4:]))
    np.testing.assert_allclose(logs["left_shank"].gyro_radps, np.radians(2 * values()[:, 4:]))
    np.testing.assert_array_equal(logs["left_foot"].time_s, logs["left_shank"].time_s)


def test_a_log_may_have_a_layout_of_its_own(tmp_path):
    content = SESSION.replace(
        "[[athlete]]",
        "[layout.other]\nrate_hz = 200\n"
        'accel = { columns = ["ax", "ay", "az"], unit = "m/s^2" }\n'
        'gyro = { columns = ["gx", "gy", "gz"], unit = "rad/s" }\n\n[[athlete]]',
        1,
    ).replace('{ file = "logs/1_ls.csv" }', '{ file = "logs/1_ls.csv", layout = "other" }')
    logs = read_session(write_session(tmp_path, content)).read_run("R07-01").logs
    np.testing.assert_allclose(logs["left_shank"].accel_mps2, values()[:, 1:4])
    np.testing.assert_allclose(logs["left_shank"].time_s, np.arange(5) / 200)
    assert logs["left_shank"].gyro_range_radps is None
    np.testing.assert_allclose(logs["right_foot"].accel_mps2, values()[:, 1:4] * 9.80665)


def test_byte_order_mark_and_windows_line_ends_are_accepted(tmp_path):
    path = write_session(tmp_path)
    path.write_bytes(b"\xef\xbb\xbf" + SESSION.replace("\n", "\r\n").encode())
    assert len(read_session(path).runs) == 2


def test_session_survives_a_trip_to_another_process(tmp_path):
    session = pickle.loads(pickle.dumps(read_session(write_session(tmp_path))))
    assert session.read_run("R07-01").run.id == "R07-01"


def test_logs_may_be_reached_from_any_working_directory(tmp_path, monkeypatch):
    write_session(tmp_path)
    monkeypatch.chdir(tmp_path)
    session = read_session("session.toml")
    monkeypatch.chdir(tmp_path.parent)
    assert len(session.read_run("R07-01").logs) == 2


def test_a_link_inside_the_folder_is_followed(tmp_path):
    path = write_session(tmp_path)
    (tmp_path / "logs" / "2_lf.csv").rename(tmp_path / "real.csv")
    link(tmp_path / "logs" / "2_lf.csv", tmp_path / "real.csv")
    assert read_session(path).log_paths("R08-01")["left_foot"] == tmp_path / "real.csv"


def test_reading_a_session_file_loads_no_heavy_module():
    code = (
        "import sys, imuproc.readers.session;"
        "print(sorted({'pyarrow', 'pandas', 'scipy'} & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


@pytest.mark.parametrize("lines", ["", 'format = "hdf5"\n', 'format = "bids-motion"\n'])
def test_layout_of_logs_that_say_themselves_what_they_hold(tmp_path, lines):
    start, end = SESSION.index("format ="), SESSION.index("[[athlete]]")
    session = read_session(write_session(tmp_path, SESSION[:start] + lines + SESSION[end:]))
    (request, _) = session.list_requests("R07-01")
    assert request.layout.accel is None
    assert request.layout.format == (lines.split('"')[1] if lines else None)


def test_requests_of_a_run_in_the_order_of_the_file(tmp_path):
    session = read_session(write_session(tmp_path))
    assert [r.site for r in session.list_requests("R07-01")] == ["right_foot", "left_shank"]
    with pytest.raises(SessionError, match="found no run 'R09'"):
        session.list_requests("R09")


def test_zero_of_the_stamps_in_a_session_file(tmp_path):
    content = SESSION.replace('unit = "s" }', 'unit = "s", zero = 2031-04-12T09:30:00+02:00 }')
    session = read_session(write_session(tmp_path, content))
    log = session.read_run("R07-01").logs["left_shank"]
    assert log.zero_at.isoformat() == "2031-04-12T09:30:00+02:00"
    session = read_session(write_session(tmp_path / "plain"))
    assert session.read_run("R07-01").logs["left_shank"].zero_at is None
