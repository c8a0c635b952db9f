from pathlib import Path

import pytest

from imuproc.batch.local import by_workers, in_turn
from tests.batch.jobs import DEADLY, contents, deadly, jobs_of, usual
from tests.session_folder import small_session

RUNS = ("R07-01", "R07-02", "R07-03", "R07-04", "R07-05")


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return small_session(tmp_path / "session", RUNS)


def test_a_run_that_kills_its_worker_costs_no_other(session: Path, tmp_path: Path) -> None:
    work = by_workers(jobs_of(session, tmp_path / "two"), deadly, workers=2)
    states = {outcome.run: (outcome.state, outcome.reason) for outcome in work}
    assert sorted(states) == list(RUNS)
    state, reason = states.pop(DEADLY)
    assert state == "failed"
    assert "its worker process was ended from outside" in reason
    assert set(states.values()) == {("done", "")}
    jobs = [job for job in jobs_of(session, tmp_path / "one") if job.task.run.id != DEADLY]
    assert all(outcome.state == "done" for outcome in in_turn(jobs, usual))
    assert contents(tmp_path / "two") == contents(tmp_path / "one")
