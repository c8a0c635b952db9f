from dataclasses import dataclass
from pathlib import Path

import pytest

from imuproc.batch.local import work_in_processes, work_in_turn
from tests.batch.jobs import DEADLY, contents, deadly, jobs_of, several, unheard, usual
from tests.session_folder import write_small_session

RUNS = ("R07-01", "R07-02", "R07-03", "R07-04", "R07-05")


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return write_small_session(tmp_path / "session", RUNS)


def test_a_run_that_kills_its_worker_costs_no_other(session: Path, tmp_path: Path) -> None:
    work = work_in_processes(jobs_of(session, tmp_path / "two"), deadly, unheard, workers=2)
    states = {outcome.run: (outcome.state, outcome.reason) for outcome in work}
    assert sorted(states) == list(RUNS)
    state, reason = states.pop(DEADLY)
    assert state == "failed"
    assert "its worker process was ended from outside" in reason
    assert set(states.values()) == {("done", "")}
    jobs = [job for job in jobs_of(session, tmp_path / "one") if job.task.run.id != DEADLY]
    assert all(outcome.state == "done" for outcome in work_in_turn(jobs, usual, unheard))
    assert contents(tmp_path / "two") == contents(tmp_path / "one")


@dataclass(frozen=True)
class Heard:
    """Notes in a file what it is told, in whatever process."""

    path: Path

    def __call__(self, run: str, steps: int) -> None:
        with self.path.open("a", encoding="utf-8") as file:
            file.write(f"{run} {steps}\n")


def test_workers_tell_of_each_of_several_runs_of_a_log(session: Path, tmp_path: Path) -> None:
    jobs, heard = jobs_of(session, tmp_path / "out")[:2], Heard(tmp_path / "heard")
    assert len(list(work_in_processes(jobs, several, heard, workers=2))) == 2
    lines = heard.path.read_text(encoding="utf-8").splitlines()
    assert sorted(lines) == [f"R07-0{log}_{run} 6" for log in (1, 2) for run in (1, 2)]
