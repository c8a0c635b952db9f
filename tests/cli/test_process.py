import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from imuproc.batch.folder import hold_output_folder
from imuproc.batch.local import work_in_turn
from imuproc.cli.found_runs import FoundRuns
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from tests.batch.jobs import by_recording, several
from tests.cli.command import Command
from tests.report.fake_result import fake_result
from tests.session_folder import write_small_session

FILES = [".imuproc.lock", "phases.csv", "phases.parquet", "process.log", "report", "runs"]
FILES += ["runs.csv", "session.h5", "steps.csv", "steps.parquet", "steps.xlsx"]


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A session file; the method behind the command is a stand-in that gives fixed steps."""
    stand_in(monkeypatch, lambda r, _: fake_result(r, flags=[RaisedFlag("no_standing_after")]))
    monkeypatch.setattr("imuproc.batch.process.count_cores", lambda: 1)
    return write_small_session(tmp_path / "session")


def stand_in(
    monkeypatch: pytest.MonkeyPatch, method: Callable[[Recording, Settings], Result]
) -> None:
    monkeypatch.setattr("imuproc.pipeline.run.process_each", by_recording(method))


def failing_second(recording: Recording, _settings: Settings) -> Result:
    if recording.run.id == "R07-02":
        raise RunError("no steps were found")
    return fake_result(recording)


def test_tables_on_stdout_and_files_in_the_folder(
    imuproc: Command, session: Path, tmp_path: Path
) -> None:
    seen = imuproc("process", session, "-o", tmp_path / "out")
    assert seen.code == 0
    lines = [line.rsplit(", ", 1)[0] for line in seen.err.splitlines()]  # without the seconds
    assert lines == [f"{n}/3 R07-0{n} done, 6 steps" for n in (1, 2, 3)]
    assert sorted(entry.name for entry in (tmp_path / "out").iterdir()) == FILES
    assert seen.out.count("three-point start, 30 m, 6 steps") == 3
    assert "3 runs: 3 done." in seen.out
    assert "steps.csv" in seen.out
    assert "\x1b" not in seen.out


def test_runs_in_a_log_have_lines_of_their_own_while_it_is_worked_on(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("imuproc.pipeline.run.process_each", several)
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report", "--run", "R07-02")
    *inside, line = seen.err.splitlines()
    assert inside == ["  R07-02_1 done, 6 steps", "  R07-02_2 done, 6 steps"]
    assert line.startswith("1/1 R07-02 done, 12 steps")
    assert (
        imuproc("process", session, "-o", tmp_path / "out", "--no-report", "-q", "--again").err
        == ""
    )


def test_a_worker_clears_the_bar_before_it_prints(capsys: pytest.CaptureFixture[str]) -> None:
    for moving, shown_by in ((False, -1), (True, os.getpid()), (True, -1)):
        FoundRuns(quiet=False, moving=moving, shown_by=shown_by)("R07-02_1", 1)
    line = "  R07-02_1 done, 1 step\n"
    assert capsys.readouterr().err == line + line + "\r\x1b[2K" + line


def test_a_failed_run_is_named_and_the_others_are_done(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(monkeypatch, failing_second)
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report")
    assert seen.code == 1
    assert seen.err.splitlines()[-1] == "imuproc: run R07-02 failed: no steps were found"
    assert "3 runs: 2 done, 1 failed (R07-02)." in seen.out
    rows = (tmp_path / "out" / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert rows[2].startswith("harbour-2031-04-12,R07,R07-02,three-point,30.0000,,,failed,")
    assert rows[2].endswith(",no steps were found")
    assert len(rows) == 4


def test_json_alone_on_stdout(imuproc: Command, session: Path, tmp_path: Path) -> None:
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report", "--json")
    content = json.loads(seen.out)
    assert content["session"] == "harbour-2031-04-12"
    assert [run["run"] for run in content["runs"]] == ["R07-01", "R07-02", "R07-03"]
    assert content["runs"][0]["flags"][0]["name"] == "no_standing_after"
    assert Path(content["files"]["steps.parquet"]).is_file()


def test_quiet_prints_only_what_failed(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert imuproc("process", session, "-o", tmp_path / "out", "--no-report", "-q").out == ""
    stand_in(monkeypatch, failing_second)
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report", "-q", "--again")
    assert (seen.code, seen.out) == (1, "")
    assert "R07-02" in seen.err


def test_one_run_alone(imuproc: Command, session: Path, tmp_path: Path) -> None:
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report", "--run", "R07-03")
    assert seen.code == 0
    assert "R07-03" in seen.out
    assert "R07-01" not in seen.out


def test_one_run_alone_is_printed_alone_and_the_tables_keep_the_others(
    imuproc: Command, session: Path, tmp_path: Path
) -> None:
    imuproc("process", session, "-o", tmp_path / "out", "--no-report")
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report", "--run", "R07-02")
    assert seen.code == 0
    assert "1 run reused: nothing about it has changed" in seen.err
    assert "R07-01" not in seen.out
    rows = (tmp_path / "out" / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 4


def test_what_is_there_is_processed_again_when_asked(
    imuproc: Command, session: Path, tmp_path: Path
) -> None:
    imuproc("process", session, "-o", tmp_path / "out", "--no-report")
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report")
    assert (seen.code, seen.err) == (0, "3 runs reused: nothing about them has changed\n")
    seen = imuproc("process", session, "-o", tmp_path / "out", "--no-report", "--again")
    assert seen.code == 0
    assert "3/3 R07-03 done, 6 steps" in seen.err


def test_an_interruption_writes_what_is_finished(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def method(recording: Recording, _settings: Settings) -> Result:
        if recording.run.id == "R07-03":
            raise KeyboardInterrupt
        return fake_result(recording)

    stand_in(monkeypatch, method)
    seen = imuproc("process", session, "-o", tmp_path / "out", "-q")
    assert seen.code == 130
    assert seen.err == (
        "imuproc: the report is not made; `imuproc report` makes it\n"
        "imuproc: interrupted; 2 of 3 runs are written\n"
    )
    rows = (tmp_path / "out" / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 3


def test_an_interruption_of_the_tables_stops_at_once(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(*_arguments: object, **_named: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("imuproc.batch.tables.write_parquet", interrupt)
    seen = imuproc("process", session, "-o", tmp_path / "out", "-q")
    assert (seen.code, seen.err) == (130, "imuproc: interrupted; finished runs are kept\n")
    assert not (tmp_path / "out" / "runs.csv").exists()
    assert len(list((tmp_path / "out" / "runs").iterdir())) == 3


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ([], 2),
        (["--jobs", "8"], 3),
        (["--jobs", "1"], 1),
        (["--run", "R07-02"], 1),
        (["--cluster", "tcp://127.0.0.1:1"], 0),
    ],
)
def test_workers_are_started_early_for_the_runs_there_are_to_do(
    imuproc: Command,
    session: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    options: list[str],
    expected: int,
) -> None:
    asked: list[int] = []

    @contextmanager
    def note(workers: int, _modules: object) -> Iterator[None]:
        asked.append(workers)
        yield

    monkeypatch.setattr("imuproc.batch.process.start_workers", note)
    monkeypatch.setattr(
        "imuproc.batch.session.work_in_processes", lambda j, m, t, _: work_in_turn(j, m, t)
    )
    monkeypatch.setattr("imuproc.batch.process.count_cores", lambda: 2)
    again = ("process", session, "-o", tmp_path / "out", "--no-report", *options)
    imuproc(*again)
    assert asked == [expected]
    if "--cluster" not in options:
        imuproc(*again)  # all is there
        imuproc(*again, "--again")
        assert asked == [expected, 0, expected]


def test_a_folder_in_use_is_refused(imuproc: Command, session: Path, tmp_path: Path) -> None:
    with hold_output_folder(tmp_path / "out", []):
        seen = imuproc("process", session, "-o", tmp_path / "out")
    assert seen.code == 2
    assert "another imuproc process is writing there; wait until it is done" in seen.err


@pytest.mark.parametrize("missing", ["extra", "scheduler"])
def test_a_cluster_that_cannot_be_used_is_told(
    imuproc: Command,
    session: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    missing: str,
) -> None:
    if missing == "extra":
        monkeypatch.setitem(sys.modules, "imuproc.batch.cluster", None)
        expected = "needs what `pip install 'imuproc[cluster]'` adds"
    else:
        pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
        monkeypatch.setattr("imuproc.batch.cluster.CONNECT_S", 0.5)
        expected = "tcp://127.0.0.1:9: found no Dask scheduler there"
    seen = imuproc("process", session, "-o", tmp_path / "out", "--cluster", "tcp://127.0.0.1:9")
    assert seen.code == 2
    assert expected in seen.err


def test_no_such_session_file(imuproc: Command, tmp_path: Path) -> None:
    seen = imuproc("process", tmp_path / "none.toml", "-o", tmp_path / "out")
    assert seen.code == 2
    assert seen.err.startswith("imuproc: ")
    assert "none.toml" in seen.err
    assert "Traceback" not in seen.err
    assert not (tmp_path / "out").exists()


def test_every_problem_of_a_session_file_is_a_line(
    imuproc: Command, session: Path, tmp_path: Path
) -> None:
    text = session.read_text(encoding="utf-8")
    text = text.replace('start = "three-point"', 'start = "flying"').replace("30\n", '"far"\n')
    session.write_text(text, encoding="utf-8")
    seen = imuproc("process", session, "-o", tmp_path / "out")
    assert seen.code == 2
    lines = seen.err.splitlines()
    assert len(lines) == 6  # two keys in three runs
    assert all(line.startswith(f"imuproc: {session}: ") for line in lines)
    assert "'flying'" in seen.err or '"flying"' in seen.err


def test_output_that_is_a_file(imuproc: Command, session: Path, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    seen = imuproc("process", session, "-o", tmp_path / "out")
    assert seen.code == 2
    assert "found a file; allowed as output: a folder" in seen.err
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_unknown_run(imuproc: Command, session: Path, tmp_path: Path) -> None:
    seen = imuproc("process", session, "-o", tmp_path / "out", "--run", "R09")
    assert seen.code == 2
    assert "found no run R09; allowed: R07-01, R07-02, R07-03" in seen.err


def doubtful_second(recording: Recording, _settings: Settings) -> Result:
    """The second run's sensor sticks; a figure of one step of the third is withheld."""
    flags = {
        "R07-02": [RaisedFlag("stuck_channel", {"sensor": "gyroscope", "axis": "z"}, "left_foot")],
        "R07-03": [RaisedFlag("implausible", {"figure": "step_length_m"}, step=2)],
    }
    return fake_result(recording, flags=flags.get(recording.run.id, []))


def test_with_strict_a_serious_flag_fails_its_run(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(monkeypatch, doubtful_second)
    out = tmp_path / "out"
    assert imuproc("process", session, "-o", out).code == 0
    seen = imuproc("process", session, "-o", out, "--strict")
    assert seen.code == 1
    assert "3 runs reused" in seen.err  # the work is the same, what is made of it is not
    reason = "not accepted with --strict: stuck_channel (left_foot): One axis of a sensor stood"
    assert f"imuproc: run R07-02 failed: {reason}" in seen.err
    rows = (out / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert [",failed," in row for row in rows[1:]] == [False, True, False]
    assert reason in rows[2]
    steps = (out / "steps.csv").read_text(encoding="utf-8")
    assert "R07-02" not in steps
    assert "R07-03" in steps
    page = (out / "report" / "R07-02.html").read_text(encoding="utf-8")
    assert "This run could not be processed: not accepted with --strict" in page
    # Without it the run is back.
    assert imuproc("process", session, "-o", out).code == 0
    assert "R07-02" in (out / "steps.csv").read_text(encoding="utf-8")
    assert "--strict" not in (out / "report" / "R07-02.html").read_text(encoding="utf-8")


def test_strict_from_the_start_keeps_the_work_for_later(
    imuproc: Command, session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(monkeypatch, doubtful_second)
    out = tmp_path / "out"
    assert imuproc("process", session, "-o", out, "--no-report", "--strict").code == 1
    seen = imuproc("process", session, "-o", out, "--no-report")
    assert seen.code == 0
    assert "3 runs reused" in seen.err
    assert "R07-02" in (out / "steps.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "there is no such file"),
        ("schema = 1\n[[set]]\nname = 'own'\n", "targets.toml"),
        ("schema = [", "targets.toml"),
    ],
)
def test_targets_that_cannot_be_used_end_the_command_before_anything_is_written(
    imuproc: Command, session: Path, tmp_path: Path, text: str | None, said: str
) -> None:
    path = tmp_path / "targets.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    seen = imuproc("process", session, "-o", tmp_path / "out", "--targets", path)
    assert seen.code == 2
    assert said in seen.err
    assert not (tmp_path / "out").exists()


def test_a_set_of_targets_that_an_athlete_names_must_be_there(
    imuproc: Command, session: Path, tmp_path: Path
) -> None:
    text = session.read_text(encoding="utf-8")
    session.write_text(
        text.replace("[[athlete]]\n", '[[athlete]]\ntargets = "junior"\n', 1), encoding="utf-8"
    )
    seen = imuproc("process", session, "-o", tmp_path / "out")
    assert seen.code == 2
    assert "found 'junior'; allowed: 'default'" in seen.err
    assert not (tmp_path / "out").exists()
