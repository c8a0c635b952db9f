"""Against a real scheduler and real worker processes on loopback."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

pytest.importorskip("distributed", reason="needs the extra 'cluster', which is not installed")

from imuproc.batch.cluster import DIED, EMPTY, LOST, work_on_cluster
from imuproc.batch.fingerprint import list_programs
from imuproc.batch.folder import remove_leftovers
from imuproc.batch.local import work_in_turn
from imuproc.batch.outcome import Outcome
from imuproc.core.errors import SessionError
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import LogSource
from tests.batch.jobs import DEADLY, contents, deadly, jobs_of, unheard, usual
from tests.session_folder import write_small_session

REPO = Path(__file__).resolve().parents[2]
RUNS = tuple(f"R07-{number:02d}" for number in range(1, 9))


def slow(source: LogSource, settings: Settings) -> Iterator[Result]:
    """Long enough to be killed on the way."""
    time.sleep(0.3)
    yield from usual(source, settings)


def deadly_for_workers(source: LogSource, settings: Settings) -> Iterator[Result]:
    """One run takes its worker with it, on every try."""
    time.sleep(0.1)
    yield from deadly(source, settings)


class Cluster:
    """A scheduler and its workers, each a process of its own."""

    def __init__(self, folder: Path, nanny: bool) -> None:
        self._folder, self._nanny = folder, nanny
        self.processes: dict[str, subprocess.Popen[bytes]] = {}
        self.address = ""

    def start(self, workers: int) -> None:
        file = self._folder / "scheduler.json"
        quiet = ["--no-dashboard", "--scheduler-file", str(file)]
        self._run("scheduler", "scheduler", "--host", "127.0.0.1", "--port", "0", *quiet)
        wait_until(file.is_file)
        from distributed import Client

        for number in range(workers):
            nanny = "--nanny" if self._nanny else "--no-nanny"
            options = ["--nthreads", "1", nanny, *quiet]
            self._run(f"worker {number}", "worker", "--host", "127.0.0.1", *options)
        with Client(scheduler_file=str(file), set_as_default=False) as client:
            self.address = client.scheduler.address
            client.wait_for_workers(workers, timeout=60)

    def _run(self, name: str, *arguments: str) -> None:
        environment = {
            **os.environ,
            "PYTHONPATH": str(self._folder),
            "PYTHONWARNINGS": "ignore",
            "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0" if self._nanny else "3",
        }
        environment.pop("PYTHONDONTWRITEBYTECODE", None)  # all start from one copy of the package
        self.processes[name] = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_" + arguments[0], *arguments[1:]],
            cwd=self._folder,
            env=environment,
            stderr=subprocess.DEVNULL,
        )

    def kill(self, name: str) -> None:
        self.processes[name].kill()
        self.processes[name].wait()

    def stop(self) -> None:
        for process in reversed(self.processes.values()):
            process.terminate()
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def wait_until(there: Callable[[], bool], limit_s: float = 60.0) -> None:
    end = time.monotonic() + limit_s
    while not there():
        assert time.monotonic() < end
        time.sleep(0.05)


@contextmanager
def running(folder: Path, workers: int = 2, nanny: bool = False) -> Iterator[Cluster]:
    list_programs.cache_clear()
    list_programs()
    for name in ("imuproc", "tests"):  # the workers' own, so that nobody edits it on the way
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(REPO / name, folder / name, ignore=ignored)
    cluster = Cluster(folder, nanny)
    try:
        cluster.start(workers)
        yield cluster
    finally:
        cluster.stop()


def reasons(outcomes: list[Outcome]) -> set[str]:
    return {outcome.reason for outcome in outcomes if outcome.state == "failed"}


def require_misfits_told(
    session: Path, out: Path, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs = jobs_of(session, out)
    with monkeypatch.context() as other:
        other.setattr("imuproc.batch.cluster.list_programs", lambda: {"numpy": "99.0"})
        with pytest.raises(SessionError, match=r"has other .* instead of .*; install the same"):
            next(work_on_cluster(jobs, usual, address, out))
    with monkeypatch.context() as other:
        # A folder that only this machine has: the file is made beside what workers look for.
        other.setattr("imuproc.batch.cluster._name_for_workers", lambda path: f"/not{path}")
        with pytest.raises(SessionError, match=r"does not see .* file system that all workers"):
            next(work_on_cluster(jobs, usual, address, out))
    assert contents(out) == {}


def test_a_worker_killed_on_the_way_costs_nothing_and_losing_all_costs_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session, out = write_small_session(tmp_path / "session", RUNS), tmp_path / "out"
    with running(tmp_path / "cluster") as cluster:
        require_misfits_told(session, out, cluster.address, monkeypatch)
        work = work_on_cluster(jobs_of(session, out), slow, cluster.address, out)
        outcomes = [next(work)]
        cluster.kill("worker 0")
        outcomes += work
        assert sorted(outcome.run for outcome in outcomes) == list(RUNS)
        assert reasons(outcomes) == set()
        assert list(work_in_turn(jobs_of(session, tmp_path / "local"), usual, unheard))
        remove_leftovers(out)
        assert contents(out) == contents(tmp_path / "local")

        monkeypatch.setattr("imuproc.batch.cluster.NO_WORKER_S", 1.0)
        monkeypatch.setattr("imuproc.batch.cluster.CONNECT_S", 2.0)
        other = tmp_path / "other"
        work = work_on_cluster(jobs_of(session, other), slow, cluster.address, other)
        outcomes = [next(work)]
        cluster.kill("worker 1")
        outcomes += work
        assert sorted(outcome.run for outcome in outcomes) == list(RUNS)
        assert reasons(outcomes) == {EMPTY}
        done = {outcome.run for outcome in outcomes if outcome.state == "done"}
        remove_leftovers(other)
        assert {path.stem for path in (other / "runs").iterdir()} >= done
        with pytest.raises(SessionError, match="the scheduler has no workers; start some with"):
            next(work_on_cluster(jobs_of(session, out), usual, cluster.address, out))


def test_a_scheduler_lost_half_way_leaves_what_is_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session, out = write_small_session(tmp_path / "session", RUNS), tmp_path / "out"
    with running(tmp_path / "cluster", workers=1) as cluster:
        work = work_on_cluster(jobs_of(session, out), slow, cluster.address, out)
        outcomes = [next(work)]
        cluster.kill("scheduler")
        outcomes += work
    assert sorted(outcome.run for outcome in outcomes) == list(RUNS)
    assert outcomes[0].state == "done"
    assert (out / "runs" / f"{outcomes[0].run}.h5").is_file()
    assert reasons(outcomes) == {LOST}
    monkeypatch.setattr("imuproc.batch.cluster.CONNECT_S", 2.0)
    with pytest.raises(SessionError, match="found no Dask scheduler there"):
        next(work_on_cluster(jobs_of(session, out), usual, cluster.address, out))


def test_a_run_that_kills_every_worker_costs_no_other(tmp_path: Path) -> None:
    session, out = write_small_session(tmp_path / "session", RUNS[:4]), tmp_path / "out"
    with running(tmp_path / "cluster", workers=1, nanny=True) as cluster:
        outcomes = list(
            work_on_cluster(jobs_of(session, out), deadly_for_workers, cluster.address, out)
        )
    states = {outcome.run: (outcome.state, outcome.reason) for outcome in outcomes}
    assert sorted(states) == list(RUNS[:4])
    assert states.pop(DEADLY) == ("failed", DIED)
    assert set(states.values()) == {("done", "")}
