from pathlib import Path

import pyarrow.parquet as pq
import pytest

from imuproc.batch.folder import PROCESS_LOG, prepare_folder
from imuproc.batch.plan import Task, plan
from imuproc.batch.session import process_tasks
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.readers.session import read_session
from tests.report.fake_result import fake_result
from tests.session_folder import small_session


@pytest.fixture
def tasks(tmp_path: Path) -> list[Task]:
    return plan(read_session(small_session(tmp_path / "session")))


def test_each_run_is_told_and_written(tasks: list[Task], tmp_path: Path) -> None:
    out = tmp_path / "out"
    prepare_folder(out, tasks)
    told: list[int] = []
    processed = process_tasks(tasks, fake_result, out, lambda: told.append(len(told)))
    assert told == [0, 1, 2]
    assert not processed.interrupted
    runs = pq.read_table(out / "steps.parquet")["run"].to_pylist()
    assert [runs.count(run) for run in ("R07-01", "R07-02", "R07-03")] == [6, 6, 6]
    log = (out / PROCESS_LOG).read_text(encoding="utf-8")
    assert "R07-02 6 steps" in log


def test_after_an_interruption_what_is_finished_is_written(
    tasks: list[Task], tmp_path: Path
) -> None:
    def method(recording: Recording) -> Result:
        if recording.run.id == "R07-02":
            raise KeyboardInterrupt
        return fake_result(recording)

    out = tmp_path / "out"
    prepare_folder(out, tasks)
    processed = process_tasks(tasks, method, out, lambda: None)
    assert processed.interrupted
    assert [outcome.summary.run for outcome in processed.outcomes] == ["R07-01"]
    lines = (out / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 2
    assert "interrupted after 1 of 3 runs" in (out / PROCESS_LOG).read_text(encoding="utf-8")
