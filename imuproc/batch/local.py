"""Work on this machine: in this process, or by worker processes that may die."""

import warnings
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

from joblib import delayed
from joblib.externals.loky import BrokenProcessPool

from imuproc.batch.outcome import Outcome
from imuproc.batch.store import Job
from imuproc.batch.work import Method, Tell, work_on
from imuproc.files.workers import share_out

DIED: Final = (
    "its worker process was ended from outside, also when it was tried again alone; "
    "most often the memory was full"
)


def in_turn(jobs: Sequence[Job], method: Method, tell: Tell) -> Generator[Outcome, None, None]:
    """Work through jobs in this process, one after the other.

    Parameters
    ----------
    jobs : sequence of Job
    method : callable
    tell : callable
        Hears of each of several runs of a log.

    Yields
    ------
    Outcome
    """
    for job in jobs:
        yield work_on(job, method, tell)


def by_workers(
    jobs: Sequence[Job], method: Method, tell: Tell, workers: int
) -> Generator[Outcome, None, None]:
    """Work through jobs by several processes.

    A worker that dies takes the others with it. The runs that were under way are then tried once
    more, each alone; one whose worker dies again has failed, and the others go on.

    Parameters
    ----------
    jobs : sequence of Job
    method : callable
        It and the jobs are pickled.
    tell : callable
        Hears of each of several runs of a log, in the worker: it is pickled too.
    workers : int
        At least 2.

    Yields
    ------
    Outcome
        As they are ready, in any order.
    """
    left = list(jobs)
    while left:
        round_ = _Round(left, method, tell, workers)
        yield from round_.iterate_outcomes()
        for job in round_.list_lost():
            alone = _Round([job], method, tell, workers)
            yield from alone.iterate_outcomes()
            if alone.list_lost():
                yield Outcome(job.task.run.id, "failed", reason=DIED)
        left = left[len(round_.sent) :]


class _Round:
    """Jobs given to one set of workers, until all are done or a worker has died."""

    def __init__(self, jobs: Sequence[Job], method: Method, tell: Tell, workers: int) -> None:
        self._jobs, self._method, self._tell, self._workers = jobs, method, tell, workers
        self.sent: list[Job] = []
        self._back: set[str] = set()

    def iterate_outcomes(self) -> Iterator[Outcome]:
        """Outcomes as they are ready; fewer than jobs when a worker has died."""
        with _silence_restarts():
            finished = share_out(self._iterate_calls(), self._workers, in_order=False)
            try:
                for outcome in finished:
                    self._back.add(outcome.run)
                    yield outcome
            except BrokenProcessPool:
                return
            finally:
                finished.close()

    def list_lost(self) -> list[Job]:
        """Jobs that were under way when a worker died."""
        return [job for job in self.sent if job.task.run.id not in self._back]

    def _iterate_calls(self) -> Iterator[Any]:
        for job in self._jobs:
            self.sent.append(job)
            yield delayed(work_on)(job, self._method, self._tell)


@contextmanager
def _silence_restarts() -> Iterator[None]:
    """Workers that have grown are replaced by new ones; joblib warns of it, to no use here."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="A worker stopped while some jobs")
        yield
