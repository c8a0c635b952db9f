import warnings
from pathlib import Path

import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from imuproc.batch.store import Job, is_current
from imuproc.batch.work import Method, work_on
from imuproc.core.errors import RunError
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from tests.batch.jobs import by_recording, jobs_of, several, usual
from tests.report.fake_result import fake_result
from tests.session_folder import write_small_session


@pytest.fixture
def jobs(tmp_path: Path) -> list[Job]:
    return jobs_of(write_small_session(tmp_path / "session"), tmp_path / "out")


def raising(error: BaseException) -> Method:
    def method(_recording: Recording, _settings: Settings) -> Result:
        raise error

    return by_recording(method)


def test_a_run_is_archived_by_whoever_did_it(jobs: list[Job]) -> None:
    outcome = work_on(jobs[0], usual)
    assert (outcome.state, outcome.steps, outcome.reason, outcome.log) == ("done", 6, "", "")
    assert is_current(jobs[0])


def test_a_log_that_cannot_be_read_is_named(jobs: list[Job], tmp_path: Path) -> None:
    (tmp_path / "session" / "logs" / "R07-02_ls.csv").write_text("", encoding="utf-8")
    outcome = work_on(jobs[1], usual)
    assert outcome.state == "failed"
    assert "R07-02_ls.csv" in outcome.reason
    assert outcome.log == ""  # an expected failure needs no traceback
    assert not jobs[1].archive.exists()


def test_a_log_that_changes_while_the_command_runs_is_not_archived(
    jobs: list[Job], tmp_path: Path
) -> None:
    log = tmp_path / "session" / "logs" / "R07-01_ls.csv"
    log.write_bytes(log.read_bytes() + b"0.400,0.0,0.0,1.0,0.1,-0.1,0.0\n")  # still being copied
    outcome = work_on(jobs[0], usual)
    assert outcome.reason.startswith("logs/R07-01_ls.csv: changed while this command ran")
    assert not jobs[0].archive.exists()


def test_a_run_that_cannot_be_processed_keeps_its_reason(jobs: list[Job]) -> None:
    outcome = work_on(jobs[0], raising(RunError("no steps were found between 1 and 9 s")))
    assert (outcome.state, outcome.log) == ("failed", "")
    assert outcome.reason == "no steps were found between 1 and 9 s"


def test_a_fault_of_the_package_is_told_shortly_and_kept_in_full(jobs: list[Job]) -> None:
    outcome = work_on(jobs[0], raising(IndexError("index 7 is out of\nbounds")))
    assert outcome.reason == "unexpected IndexError: index 7 is out of bounds (see process.log)"
    assert "Traceback (most recent call last)" in outcome.log


def test_too_little_memory_fails_one_run_with_advice(jobs: list[Job]) -> None:
    outcome = work_on(jobs[0], raising(MemoryError()))
    assert outcome.reason.startswith("not enough memory for this run; use fewer workers")


def test_an_interruption_is_not_taken_for_a_failed_run(jobs: list[Job]) -> None:
    with pytest.raises(KeyboardInterrupt, match="stop"):
        work_on(jobs[0], raising(KeyboardInterrupt("stop")))


def test_warnings_go_to_the_log(jobs: list[Job]) -> None:
    def method(recording: Recording, _settings: Settings) -> Result:
        warnings.warn("mean of empty slice", RuntimeWarning, stacklevel=1)
        return fake_result(recording)

    outcome = work_on(jobs[0], by_recording(method))
    assert (outcome.state, outcome.log) == ("done", "RuntimeWarning: mean of empty slice")


def test_linear_algebra_has_one_thread(jobs: list[Job]) -> None:
    seen: list[int] = []

    def method(recording: Recording, _settings: Settings) -> Result:
        seen.extend(threads())
        return fake_result(recording)

    with threadpool_limits(limits=2):  # as at a user's: the tests themselves may have one only
        assert 2 in threads()
        work_on(jobs[0], by_recording(method))
    assert set(seen) == {1}


def threads() -> list[int]:
    """How many threads each library of linear algebra may take."""
    return [pool["num_threads"] for pool in threadpool_info()]


def test_each_of_several_runs_of_a_log_is_told_when_it_is_done(jobs: list[Job]) -> None:
    heard: list[tuple[str, int]] = []
    outcome = work_on(jobs[0], several, lambda run, steps: heard.append((run, steps)))
    assert heard == [("R07-01_1", 6), ("R07-01_2", 6)]
    assert outcome.steps == 12


def test_a_log_of_one_run_is_told_by_its_outcome_alone(jobs: list[Job]) -> None:
    heard: list[str] = []
    assert work_on(jobs[0], usual, lambda run, _steps: heard.append(run)).state == "done"
    assert heard == []
