import errno
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest

import imuproc
from imuproc.batch.folder import RESULTS, hold_output_folder
from imuproc.batch.processed import Processed
from imuproc.batch.session import process_tasks
from imuproc.batch.work import Method
from imuproc.core.errors import RunError, SessionError
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from tests.batch.jobs import Watched, by_recording, contents, request, usual
from tests.report.fake_result import fake_result
from tests.session_folder import write_small_session


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return write_small_session(tmp_path / "session")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, bytes]:
    """What is left of that session where nothing went wrong."""
    folder = tmp_path_factory.mktemp("undisturbed")
    processed(write_small_session(folder / "session"), folder / "out")
    return contents(folder / "out")


def processed(
    session: Path,
    out: Path,
    method: Method = usual,
    only: Sequence[str] = (),
    again: bool = False,
) -> tuple[Processed, Watched]:
    asked = request(session, method, only, again=again)
    watched = Watched()
    with hold_output_folder(out, asked.tasks) as folder:
        return process_tasks(asked, folder, watched), watched


def stopping_at(run: str, error: BaseException) -> Method:
    def method(recording: Recording, _settings: Settings) -> Result:
        if recording.run.id == run:
            raise error
        return fake_result(recording)

    return by_recording(method)


def runs_in(out: Path) -> list[str]:
    frame = pd.read_csv(out / "runs.csv", keep_default_na=False)
    return [f"{run} {status}" for run, status in zip(frame["run"], frame["status"], strict=True)]


def test_each_run_is_told_archived_and_written(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    done, watched = processed(session, out)
    assert watched.counts == (0, 3)
    assert watched.states() == {"R07-01": "done", "R07-02": "done", "R07-03": "done"}
    assert not done.interrupted
    assert not done.failed
    runs = pq.read_table(out / "steps.parquet")["run"].to_pylist()
    assert [runs.count(run) for run in ("R07-01", "R07-02", "R07-03")] == [6, 6, 6]
    with imuproc.open_archive(out / "session.h5") as archive:
        assert archive.runs == ("R07-01", "R07-02", "R07-03")
        assert archive.session["date"] == "2031-04-12"
    assert "R07-02 6 steps" in (out / "process.log").read_text(encoding="utf-8")


def test_no_clock_time_and_no_absolute_path_in_results(session: Path, tmp_path: Path) -> None:
    (tmp_path / "session" / "logs" / "R07-02_ls.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    written = []
    for name in ("one", "two"):
        processed(session, tmp_path / name)
        written.append(contents(tmp_path / name))
    assert written[0] == written[1]
    assert not any(str(tmp_path).encode() in content for content in written[0].values())


def test_finished_work_is_not_done_again_unless_asked(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    processed(session, out)
    before = contents(out)
    _, watched = processed(session, out, stopping_at("R07-01", RunError("worked on again")))
    assert watched.counts == (3, 0)
    assert contents(out) == before
    _, watched = processed(session, out, again=True)
    assert watched.counts == (0, 3)
    assert contents(out) == before


def test_only_what_has_changed_is_done_again(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    processed(session, out)
    log = tmp_path / "session" / "logs" / "R07-02_ls.csv"
    log.write_bytes(log.read_bytes().replace(b"0.1,-0.1", b"0.1,-0.2", 1))
    archive = out / "runs" / "R07-03.h5"
    archive.write_bytes(archive.read_bytes()[:-7])
    _, watched = processed(session, out)
    assert watched.states() == {"R07-02": "done", "R07-03": "done"}
    processed(session, tmp_path / "fresh")
    assert contents(out) == contents(tmp_path / "fresh")


def test_a_failed_run_is_tried_again(
    session: Path, tmp_path: Path, undisturbed: Mapping[str, bytes]
) -> None:
    out = tmp_path / "out"
    done, _ = processed(session, out, stopping_at("R07-02", RunError("no steps")))
    assert list(done.failed) == ["R07-02"]
    assert runs_in(out) == ["R07-01 done", "R07-02 failed", "R07-03 done"]
    assert not (out / "runs" / "R07-02.h5").exists()
    _, watched = processed(session, out)
    assert watched.states() == {"R07-02": "done"}
    assert contents(out) == undisturbed


def test_one_run_alone_keeps_the_others_in_the_tables(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    done, _ = processed(session, out, only=["R07-03"])
    assert runs_in(out) == ["R07-03 done"]
    done, watched = processed(session, out, only=["R07-01"])
    assert watched.states() == {"R07-01": "done"}
    assert [row.summary.run for row in done.rows] == ["R07-01"]
    assert runs_in(out) == ["R07-01 done", "R07-03 done"]


def test_the_archive_of_a_run_no_longer_in_the_session_stays_out_of_the_tables(
    session: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    processed(session, out)
    text = session.read_text(encoding="utf-8")
    session.write_text(text[: text.rindex("\n[[run]]")], encoding="utf-8")
    processed(session, out)
    assert runs_in(out) == ["R07-01 done", "R07-02 done"]
    assert (out / "runs" / "R07-03.h5").is_file()


def test_an_earlier_result_is_not_taken_for_one_of_a_log_that_is_gone(
    session: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    processed(session, out)
    (tmp_path / "session" / "logs" / "R07-02_ls.csv").unlink()
    done, _ = processed(session, out)
    assert runs_in(out) == ["R07-01 done", "R07-02 failed", "R07-03 done"]
    assert "R07-02_ls.csv" in done.failed["R07-02"]


def test_after_an_interruption_what_is_finished_is_written(
    session: Path, tmp_path: Path, undisturbed: Mapping[str, bytes]
) -> None:
    out = tmp_path / "out"
    done, _ = processed(session, out, stopping_at("R07-02", KeyboardInterrupt()))
    assert done.interrupted
    assert (len(done.outcomes), done.asked) == (1, 3)
    assert runs_in(out) == ["R07-01 done"]
    assert "interrupted after 1 of 3 runs" in (out / "process.log").read_text(encoding="utf-8")
    _, watched = processed(session, out)
    assert watched.counts == (1, 2)
    assert contents(out) == undisturbed


@pytest.mark.parametrize("name", RESULTS)
def test_a_disk_that_fills_up_during_the_tables_names_the_file_and_keeps_the_old_one(
    session: Path,
    tmp_path: Path,
    undisturbed: Mapping[str, bytes],
    monkeypatch: pytest.MonkeyPatch,
    name: str,
) -> None:
    out = tmp_path / "out"
    processed(session, out, only=["R07-01"])
    before = (out / name).read_bytes()
    replace = os.replace

    def full(source: Path, target: Path) -> None:
        if target.name == name:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        replace(source, target)

    monkeypatch.setattr("imuproc.files.whole.os.replace", full)
    expected = rf"{name}: cannot be written \(No space left on device\); free some space"
    with pytest.raises(SessionError, match=expected):
        processed(session, out)
    assert (out / name).read_bytes() == before
    assert not list(out.rglob("*.part"))
    monkeypatch.undo()
    _, watched = processed(session, out)
    assert watched.counts == (3, 0)
    assert contents(out) == undisturbed
