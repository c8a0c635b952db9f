import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from imuproc.batch.folder import LOCK, hold_output_folder
from imuproc.batch.log import PROCESS_LOG
from imuproc.batch.plan import plan_tasks
from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from tests.session_folder import write_small_session


def test_the_folder_is_made_with_its_parents(tmp_path: Path) -> None:
    with hold_output_folder(tmp_path / "a" / "b", []) as folder:
        assert folder == (tmp_path / "a" / "b").resolve()
    assert {entry.name for entry in (tmp_path / "a" / "b").iterdir()} == {PROCESS_LOG, LOCK, "runs"}


def test_a_file_is_refused_as_output(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    expected = "found a file; allowed as output: a folder"
    with pytest.raises(SessionError, match=expected), hold_output_folder(tmp_path / "out", []):
        pass
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    wrong = hold_output_folder(tmp_path / "file" / "out", [])
    with pytest.raises(SessionError, match="cannot be written"), wrong:
        pass


def test_a_folder_without_rights_is_named_with_advice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, *_arguments: object, **_options: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self))

    monkeypatch.setattr(Path, "mkdir", refuse)
    expected = r"out: cannot be written \(Permission denied\); allow writing there, or name another"
    with pytest.raises(SessionError, match=expected), hold_output_folder(tmp_path / "out", []):
        pass


@pytest.mark.parametrize("name", ["steps.csv", "runs/R07-01.h5"])
def test_logs_are_never_overwritten(tmp_path: Path, name: str) -> None:
    path = write_small_session(tmp_path / "session", ["R07-01"])
    log = path.parent / "logs" / name
    log.parent.mkdir(exist_ok=True)
    (path.parent / "logs" / "R07-01_ls.csv").rename(log)
    text = path.read_text(encoding="utf-8").replace("R07-01_ls.csv", name)
    path.write_text(text, encoding="utf-8")
    tasks = plan_tasks(read_session(path))
    wrong = hold_output_folder(path.parent / "logs", tasks)
    with pytest.raises(SessionError, match="is an input of this session"), wrong:
        pass
    assert log.read_text(encoding="utf-8").startswith("time_s")


def test_a_second_process_is_refused_and_a_killed_one_leaves_no_lock(tmp_path: Path) -> None:
    code = (
        "import pathlib, sys, time\n"
        "from imuproc.batch.folder import hold_output_folder\n"
        "with hold_output_folder(pathlib.Path(sys.argv[1]), []):\n"
        "    print('held', flush=True)\n"
        "    time.sleep(600)\n"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        second = hold_output_folder(tmp_path, [])
        with pytest.raises(SessionError, match="another imuproc process is writing there"), second:
            pass
    finally:
        holder.kill()
        holder.communicate()
    with hold_output_folder(tmp_path, []):
        pass


def test_what_a_killed_process_left_half_written_is_removed(tmp_path: Path) -> None:
    (tmp_path / "runs").mkdir()
    left = [".steps.csv.0123abcd.part", "runs/.R07-01.h5.89abcdef.part"]
    mine = ["notes.part", ".hidden", "runs/R07-09.h5"]
    for name in (*left, *mine):
        (tmp_path / name).write_text("x", encoding="utf-8")
    with hold_output_folder(tmp_path, []):
        assert not any((tmp_path / name).exists() for name in left)
    assert all((tmp_path / name).exists() for name in mine)
