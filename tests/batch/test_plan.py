from pathlib import Path

import pytest

from imuproc.batch.plan import plan_tasks
from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from tests.session_folder import write_small_session


def test_the_plan_keeps_the_order_of_the_file(tmp_path: Path) -> None:
    tasks = plan_tasks(read_session(write_small_session(tmp_path / "session")))
    assert [task.run.id for task in tasks] == ["R07-01", "R07-02", "R07-03"]
    assert {task.athlete.id for task in tasks} == {"R07"}
    assert all(task.wanted for task in tasks)


def test_only_the_runs_asked_for_are_wanted(tmp_path: Path) -> None:
    session = read_session(write_small_session(tmp_path / "session"))
    assert [task.wanted for task in plan_tasks(session, ["R07-03"])] == [False, False, True]
    with pytest.raises(SessionError, match=r"found no run R07-09; allowed: R07-01, R07-02"):
        plan_tasks(session, ["R07-09"])


def test_a_task_takes_no_other_run_along(tmp_path: Path) -> None:
    task = plan_tasks(read_session(write_small_session(tmp_path / "session")))[1]
    assert list(task.session.plans) == ["R07-02"]
    assert task.session.read_run("R07-02").run == task.run
