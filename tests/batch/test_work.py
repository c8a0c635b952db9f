import warnings
from pathlib import Path

import pandas as pd
import pytest

from imuproc.batch.plan import Task, plan
from imuproc.batch.work import work_on, work_through
from imuproc.core.errors import RunError, SessionError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.readers.session import read_session
from tests.report.fake_result import fake_result, fake_steps
from tests.session_folder import small_session


@pytest.fixture
def tasks(tmp_path: Path) -> list[Task]:
    return plan(read_session(small_session(tmp_path / "session")))


def test_the_plan_keeps_the_order_of_the_file(tasks: list[Task]) -> None:
    assert [task.run.id for task in tasks] == ["R07-01", "R07-02", "R07-03"]
    assert {task.athlete.id for task in tasks} == {"R07"}


def test_only_the_runs_asked_for(tmp_path: Path) -> None:
    session = read_session(small_session(tmp_path / "session"))
    assert [task.run.id for task in plan(session, ["R07-03"])] == ["R07-03"]
    with pytest.raises(SessionError, match=r"found no run R07-09; allowed: R07-01, R07-02"):
        plan(session, ["R07-09"])


def test_a_log_that_cannot_be_read_costs_its_own_run_only(
    tasks: list[Task], tmp_path: Path
) -> None:
    (tmp_path / "session" / "logs" / "R07-02_ls.csv").write_text("", encoding="utf-8")
    outcomes = [one for (one,) in work_through(tasks, fake_result)]
    assert [outcome.failed for outcome in outcomes] == [False, True, False]
    assert "R07-02_ls.csv" in outcomes[1].summary.reason
    assert outcomes[1].log == ""  # an expected failure needs no traceback


def test_a_run_that_cannot_be_processed_keeps_its_reason(tasks: list[Task]) -> None:
    def method(recording: Recording) -> Result:
        if recording.run.id == "R07-01":
            raise RunError("no steps were found between 1 and 9 s")
        return fake_result(recording)

    outcomes = [one for (one,) in work_through(tasks, method)]
    assert [outcome.failed for outcome in outcomes] == [True, False, False]
    assert outcomes[0].summary.reason == "no steps were found between 1 and 9 s"
    assert outcomes[0].steps is None


def test_a_fault_of_the_package_is_told_shortly_and_kept_in_full(tasks: list[Task]) -> None:
    def method(_recording: Recording) -> Result:
        raise IndexError("index 7 is out of\nbounds")

    (outcome,) = work_on(tasks[0], method)
    assert outcome.failed
    assert outcome.summary.reason == (
        "unexpected IndexError: index 7 is out of bounds (see process.log)"
    )
    assert "Traceback (most recent call last)" in outcome.log
    assert 'raise IndexError("index 7' in outcome.log


def test_each_run_of_a_long_log_has_its_own_outcome(tasks: list[Task]) -> None:
    def method(recording: Recording) -> Result:
        first, second = fake_steps(6, run="R07-01_1"), fake_steps(8, run="R07-01_2")
        second.loc[2, "flags"] = "gap"
        flags = (
            RaisedFlag("no_standing_after", run="R07-01_1"),
            RaisedFlag("gap", "contact_time_s", step=3, run="R07-01_2"),
        )
        return fake_result(recording, pd.concat([first, second], ignore_index=True), flags)

    outcomes = work_on(tasks[0], method)
    assert [outcome.summary.run for outcome in outcomes] == ["R07-01_1", "R07-01_2"]
    assert [outcome.summary.counts["steps"] for outcome in outcomes] == [6, 8]
    names = [outcome.summary.flag_names() for outcome in outcomes]
    assert names == [["no_standing_after"], ["gap"]]


def test_an_interruption_is_not_taken_for_a_failed_run(tasks: list[Task]) -> None:
    def method(_recording: Recording) -> Result:
        raise KeyboardInterrupt("stop")

    with pytest.raises(KeyboardInterrupt, match="stop"):
        work_on(tasks[0], method)


def test_warnings_go_to_the_log(tasks: list[Task]) -> None:
    def method(recording: Recording) -> Result:
        warnings.warn("mean of empty slice", RuntimeWarning, stacklevel=1)
        return fake_result(recording)

    (outcome,) = work_on(tasks[0], method)
    assert not outcome.failed
    assert outcome.log == "RuntimeWarning: mean of empty slice"
