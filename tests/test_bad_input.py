"""Bad input, end to end: through ``imuproc.process`` and through the command.

Each mistake gives an error or a flag that says what, where and what to do; the other runs are done.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.core.errors import LogError, RunError, SessionError
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import SITES, Site
from tests.cli.command import Seen, called_once
from tests.session_folder import LOG_HEADER, SESSION_HEAD, format_run_entry
from tests.simulated import (
    USUAL,
    change_logs,
    keep_sites,
    list_flag_names,
    make_result,
    make_run,
    select_running,
)

SHORT = {site: "".join(part[0] for part in site.split("_")) for site in SITES}

Change = Callable[[SensorLog], SensorLog]


# --- Through process ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sprint() -> Recording:
    """Four sensors of one sprint."""
    return make_run(USUAL)[0]


def spoil_log(recording: Recording, site: Site, change: Change) -> Recording:
    """The recording with one log changed."""
    return change_logs(recording, lambda log: change(log) if log.site == site else log)


def make_scaling(accel: float = 1.0, gyro: float = 1.0) -> Change:
    return lambda log: replace(
        log, accel_mps2=log.accel_mps2 * accel, gyro_radps=log.gyro_radps * gyro
    )


def keep_first(log: SensorLog, count: int) -> SensorLog:
    return log.take(slice(count))


REFUSED: dict[str, tuple[Change, str]] = {
    "m/s² read as g": (make_scaling(accel=9.80665), r"probably in m/s\^2, but were read as g"),
    "g read as m/s²": (make_scaling(accel=1 / 9.80665), r"probably in g, but were read as m/s\^2"),
    "mg read as g": (make_scaling(accel=1000.0), r"probably in mg, but were read as g"),
    "range off by 2": (make_scaling(accel=2.0), r"scale is probably wrong by a factor of 2"),
    "deg/s read as rad/s": (
        make_scaling(gyro=57.2958),
        r"probably in deg/s, but were read as rad/s",
    ),
    "rad/s read as deg/s": (
        make_scaling(gyro=0.0174533),
        r"probably in rad/s, but were read as deg/s",
    ),
    "no gyro": (
        lambda log: replace(log, gyro_radps=np.full_like(log.gyro_radps, np.nan)),
        r"gyroscope has no values at all",
    ),
    "gyro off": (make_scaling(gyro=0.0), r"gyroscope reads zero throughout"),
    "accelerometer off": (make_scaling(accel=0.0), r"accelerometer reads zero throughout"),
    "one sample": (lambda log: keep_first(log, 1), r"1 sample; at least 50 are needed"),
    "no sample": (lambda log: keep_first(log, 0), r"0 samples; at least 50 are needed"),
    "mostly no numbers": (
        lambda log: replace(
            log,
            accel_mps2=np.where(
                np.arange(len(log.time_s))[:, None] % 10 < 2, log.accel_mps2, np.nan
            ),
        ),
        r"only \d+ % of the samples are there|never 0.5 s without a gap",
    ),
    "another time": (
        lambda log: replace(log, time_s=log.time_s + 5000.0),
        r"logs do not overlap",
    ),
}


@pytest.mark.parametrize("mistake", REFUSED)
def test_what_cannot_be_used_is_refused_with_its_log_and_the_likely_cause(
    sprint: Recording, mistake: str
) -> None:
    change, expected = REFUSED[mistake]
    with pytest.raises(RunError, match=expected) as caught:
        imuproc.process(spoil_log(sprint, "right_foot", change))
    assert "right_foot" in str(caught.value)


def test_all_zeros_and_nothing_at_all(sprint: Recording) -> None:
    with pytest.raises(RunError, match="accelerometer reads zero throughout"):
        imuproc.process(change_logs(sprint, make_scaling(accel=0.0, gyro=0.0)))
    with pytest.raises(RunError, match="names no log"):
        imuproc.process(replace(sprint, logs={}))


def test_a_log_without_the_run_says_so(sprint: Recording) -> None:
    with pytest.raises(RunError, match="no sprint steps found in run R00-01: check that"):
        imuproc.process(change_logs(sprint, lambda log: keep_first(log, 1800)))


def test_time_that_runs_backwards_for_a_moment_is_flagged_and_mended(sprint: Recording) -> None:
    def jumped(log: SensorLog) -> SensorLog:
        time_s = log.time_s.copy()
        time_s[3000:3003] -= 2.0
        return replace(log, time_s=time_s)

    result = imuproc.process(spoil_log(sprint, "right_foot", jumped))
    assert "bad_stamps" in list_flag_names(result, "right_foot")
    assert len(result.steps) == len(make_result(USUAL).steps)


def test_a_clock_that_was_set_back_is_refused_with_the_place(sprint: Recording) -> None:
    def set_back(log: SensorLog) -> SensorLog:
        late = np.arange(len(log.time_s)) >= 3000
        return replace(log, time_s=np.where(late, log.time_s - 2.0, log.time_s))

    with pytest.raises(RunError, match=r"right_foot.*runs backwards at sample 3001, from 30\."):
        imuproc.process(spoil_log(sprint, "right_foot", set_back))


def test_time_that_runs_backwards_throughout_is_refused(sprint: Recording) -> None:
    with pytest.raises(RunError, match=r"right_foot.*runs backwards at .* samples"):
        imuproc.process(
            spoil_log(sprint, "right_foot", lambda log: replace(log, time_s=log.time_s[::-1]))
        )


def test_stretches_of_no_numbers_are_flagged_on_their_steps(sprint: Recording) -> None:
    at = float(select_running(make_run(USUAL)[1])["touchdown_s"][8])

    def holed(log: SensorLog) -> SensorLog:
        accel = log.accel_mps2.copy()
        accel[np.abs(log.time_s - at) < 0.03] = np.nan
        return replace(log, accel_mps2=accel)

    result = imuproc.process(change_logs(sprint, holed))
    assert {"gap"} <= list_flag_names(result)
    assert result.steps["flags"].str.contains("gap").sum() in (1, 2)


# --- Through the command --------------------------------------------------------------------------


def format_rows(recording: Recording, site: Site) -> np.ndarray:
    """A log as it stands in a file: s, g, deg/s."""
    log = recording.logs[site]
    return np.column_stack((log.time_s, log.accel_mps2 / 9.80665, np.degrees(log.gyro_radps)))


def write_table(path: Path, table: np.ndarray, header: str = LOG_HEADER) -> None:
    frame = pd.DataFrame(table, columns=header.split(","))
    frame.to_csv(path, index=False, float_format="%.5f")


class Folder:
    """A session folder whose first run is sound and whose others are spoiled in one log."""

    def __init__(self, folder: Path, recording: Recording) -> None:
        self.path, self.recording = folder, recording
        self.text = SESSION_HEAD
        (folder / "logs").mkdir(parents=True)
        for site in recording.logs:
            write_table(folder / "logs" / f"good_{SHORT[site]}.csv", format_rows(recording, site))

    def add(self, run: str, **changed: str) -> None:
        """A run of the sound logs, but for those that are named."""
        names = {site: f"logs/good_{SHORT[site]}.csv" for site in self.recording.logs} | changed
        self.text += format_run_entry(run, names)

    def session(self) -> Path:
        path = self.path / "session.toml"
        path.write_text(self.text, encoding="utf-8")
        return path


def run_command(*arguments: object) -> Seen:
    """``imuproc process`` in this process, without workers: both are tested elsewhere."""
    return called_once("process", *arguments, "--no-report", "--jobs", 1)


def spoil_runs(folder: Folder) -> dict[str, str]:
    """Runs with one bad left shank log each, and what their reason must say."""
    good = format_rows(folder.recording, "left_shank")
    logs = folder.path / "logs"
    names = LOG_HEADER.split(",")
    column = {name: k for k, name in enumerate(names)}
    missing = np.delete(good, column["gz"], axis=1)
    write_table(logs / "B1.csv", missing, ",".join(name for name in names if name != "gz"))
    metres = good.copy()
    metres[:, 1:4] *= 9.80665
    write_table(logs / "B2.csv", metres)
    (logs / "B3.csv").write_text("", encoding="utf-8")
    write_table(logs / "B4.csv", good[:1])
    zeros = good.copy()
    zeros[:, 1:] = 0.0
    write_table(logs / "B5.csv", zeros)
    no_gyro = good.copy()
    no_gyro[:, 4:] = np.nan
    write_table(logs / "B6.csv", no_gyro)
    back = good.copy()
    back[:, 0] = back[::-1, 0]
    write_table(logs / "B7.csv", back)
    write_table(logs / "B8.csv", format_rows(folder.recording, "right_shank"))
    return {
        "B1": "missing columns: 'gz'",
        "B2": "probably in m/s^2, but were read as g",
        "B3": "the file is empty",
        "B4": "found 1 sample",
        "B5": "reads zero throughout",
        "B6": "gyroscope has no values at all",
        "B7": "runs backwards",
        "B8": "left and right logs look swapped",
        "B9": "there is no such file",
    }


def test_one_bad_run_never_stops_the_others(tmp_path: Path, sprint: Recording) -> None:
    folder = Folder(tmp_path / "session", sprint)
    expected = spoil_runs(folder)
    folder.add("R07-01")
    for run in expected:
        if run == "B8":  # shanks exchanged
            folder.add(run, left_shank="logs/B8.csv", right_shank="logs/good_ls.csv")
        else:
            folder.add(run, left_shank=f"logs/{run}.csv")
    done = run_command(folder.session(), "-o", tmp_path / "out")
    assert done.code == 1, done.err
    assert "Traceback" not in done.out + done.err
    assert "unexpected" not in done.err
    runs = pd.read_csv(tmp_path / "out" / "runs.csv").set_index("run")
    assert runs["status"].to_dict() == {"R07-01": "done", **dict.fromkeys(expected, "failed")}
    for run, reason in expected.items():
        assert reason in runs.loc[run, "reason"], run
        assert f"run {run} failed" in done.err
    steps = pd.read_csv(tmp_path / "out" / "steps.csv")
    assert steps["run"].unique().tolist() == ["R07-01"]
    assert len(steps) == len(make_result(USUAL).steps)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("logs/good_ls.csv", "../elsewhere.csv", r"logs\.left_shank .*\.\./elsewhere\.csv"),
        ("logs/good_ls.csv", "logs/../../a.csv", r"logs\.left_shank .*stays inside"),
        ('surface = "track"', 'surfaces = "track"', "unknown key 'surfaces'"),
        ("left_shank", "left_shin", "unknown key 'left_shin'"),
        ('unit = "g"', 'unit = "G-force"', "accel.unit"),
    ],
    ids=["outside", "outside by a detour", "unknown key", "unknown site", "unknown unit"],
)
def test_a_wrong_session_file_is_refused_before_any_work(
    tmp_path: Path, sprint: Recording, old: str, new: str, expected: str
) -> None:
    folder = Folder(tmp_path / "session", keep_sites(cut_first_second(sprint), "left_shank"))
    folder.add("R07-01")
    folder.text = folder.text.replace(old, new)
    with pytest.raises(SessionError, match=expected):
        imuproc.read_session(folder.session())


def cut_first_second(recording: Recording) -> Recording:
    return change_logs(recording, lambda log: keep_first(log, 500))


def test_the_command_refuses_a_wrong_session_file_with_exit_code_2(
    tmp_path: Path, sprint: Recording
) -> None:
    folder = Folder(tmp_path / "session", keep_sites(cut_first_second(sprint), "left_shank"))
    folder.add("R07-01", left_shank="../elsewhere.csv")
    folder.text = folder.text.replace("stature_m", "height_m")
    done = run_command(folder.session(), "-o", tmp_path / "out")
    assert done.code == 2
    assert "unknown key 'height_m'" in done.err
    assert "Traceback" not in done.err
    assert not (tmp_path / "out").exists()


def test_the_python_interface_names_the_log_that_cannot_be_read(
    tmp_path: Path, sprint: Recording
) -> None:
    folder = Folder(tmp_path / "session", cut_first_second(sprint))
    (folder.path / "logs" / "B1.csv").write_text("time_s,ax\n0,1\n", encoding="utf-8")
    folder.add("R07-01", left_shank="logs/B1.csv")
    session = imuproc.read_session(folder.session())
    with pytest.raises(LogError, match=r"logs/B1\.csv \(left_shank\)"):
        next(session.recordings())
