from pathlib import Path

import pytest

from imuproc.batch.folder import PROCESS_LOG, ProcessLog, prepare_folder, write_results
from imuproc.batch.plan import plan
from imuproc.batch.work import work_through
from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from tests.report.fake_result import fake_result
from tests.session_folder import small_session


def test_the_folder_is_made_with_its_parents(tmp_path: Path) -> None:
    prepare_folder(tmp_path / "a" / "b", [])
    assert [entry.name for entry in (tmp_path / "a" / "b").iterdir()] == [PROCESS_LOG]


def test_a_file_is_refused_as_output(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    with pytest.raises(SessionError, match="found a file; allowed as output: a folder"):
        prepare_folder(tmp_path / "out", [])
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SessionError, match="cannot be written"):
        prepare_folder(tmp_path / "file" / "out", [])


def test_logs_are_never_overwritten(tmp_path: Path) -> None:
    path = small_session(tmp_path / "session", ["R07-01"])
    (path.parent / "logs" / "R07-01_ls.csv").rename(path.parent / "logs" / "steps.csv")
    text = path.read_text(encoding="utf-8").replace("R07-01_ls.csv", "steps.csv")
    path.write_text(text, encoding="utf-8")
    tasks = plan(read_session(path))
    with pytest.raises(SessionError, match=r"steps\.csv: is an input of this session"):
        prepare_folder(path.parent / "logs", tasks)
    assert (path.parent / "logs" / "steps.csv").read_text(encoding="utf-8").startswith("time_s")


def test_results_hold_no_clock_time_and_no_absolute_path(tmp_path: Path) -> None:
    tasks = plan(read_session(small_session(tmp_path / "session")))
    (tmp_path / "session" / "logs" / "R07-02_ls.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    written = []
    for name in ("one", "two"):
        folder = tmp_path / name
        prepare_folder(folder, tasks)
        files = write_results(folder, [one for (one,) in work_through(tasks, fake_result)])
        assert files["steps.csv"] == (folder / "steps.csv").as_posix()
        written.append(
            {
                entry.name: entry.read_bytes()
                for entry in folder.iterdir()
                if entry.name != PROCESS_LOG
            }
        )
    assert set(written[0]) == {"steps.csv", "steps.parquet", "runs.csv"}
    assert written[0] == written[1]
    assert not any(str(tmp_path).encode() in content for content in written[0].values())


def test_the_log_has_a_time_in_front_of_each_entry(tmp_path: Path) -> None:
    prepare_folder(tmp_path, [])
    log = ProcessLog(tmp_path)
    log.line("first\nand more")
    log.line("second")
    lines = (tmp_path / PROCESS_LOG).read_text(encoding="utf-8").splitlines()
    assert [line.split(" ", 1)[1] for line in lines] == ["first", "   and more", "second"]
    assert lines[0][:2] == "20"
