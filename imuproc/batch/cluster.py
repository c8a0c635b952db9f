"""Work on a Dask cluster whose machines see the same folders.

Futures of ``distributed`` itself are used, not joblib's Dask backend: that one gives up all runs
when one fails to come back, while here each run comes back, is tried again or is given up alone.
"""

import functools
import queue
import secrets
import threading
import time
from collections.abc import Generator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from distributed import Client, Future, KilledWorker
from distributed.comm import CommClosedError

from imuproc.batch.fingerprint import programs
from imuproc.batch.outcome import Outcome
from imuproc.batch.store import Job
from imuproc.batch.work import Method, work_on
from imuproc.core.errors import SessionError
from imuproc.files.disk_errors import describe_write_error
from imuproc.results.folder import RUNS_FOLDER

CONNECT_S: Final = 10.0
"""How long a scheduler, its first worker and their answers are waited for."""

NO_WORKER_S: Final = 30.0
"""How long a cluster may be without any worker before the rest is given up."""

LOST: Final = "not done: the connection to the cluster was lost; run the same command again"
EMPTY: Final = "not done: the cluster has no worker left; run the same command again"
DIED: Final = (
    "each worker that took it died, also when it was tried again alone; "
    "most often the memory was full"
)

_LOOK_S: Final = 1.0
"""How often the cluster is looked at while nothing comes back; chosen: nobody waits longer."""
_ONE_AT_A_TIME = threading.Lock()


def on_cluster(
    jobs: Sequence[Job], method: Method, address: str, folder: Path
) -> Generator[Outcome, None, None]:
    """Work through jobs on the workers of a Dask scheduler.

    The scheduler gives the runs of a worker that dies to another one. A run that it has given up,
    because several workers died with it, is tried once more after all others are done.

    Parameters
    ----------
    jobs : sequence of Job
    method : callable
        It and the jobs are pickled.
    address : str
        Such as ``tcp://10.0.0.5:8786``.
    folder : Path
        Folder of results, absolute; every worker must see it, and the logs, under this path.

    Yields
    ------
    Outcome
        As they are ready, in any order. When the cluster is lost, those not done have failed.

    Raises
    ------
    SessionError
        The scheduler cannot be reached, has no workers, or they see other files or have other
        programs than this process.
    """
    with _connect_client(address) as client:
        _require_fit_workers(client, jobs, folder)
        work = _Work(client, method)
        yield from work.iterate_outcomes(jobs)
        for job in work.given_up:
            alone = _Work(client, method)
            yield from alone.iterate_outcomes([job])
            for lost in alone.given_up:
                yield Outcome(lost.task.run.id, "failed", reason=DIED)


@contextmanager
def _connect_client(address: str) -> Generator[Client, None, None]:
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise SessionError(
            f"--cluster {address}: found no Dask scheduler there ({type(error).__name__}); start "
            "one with `dask scheduler` and workers with `dask worker`, or leave --cluster out"
        ) from error
    try:
        yield client
    finally:
        client.close(timeout=2)


def _require_fit_workers(client: Client, jobs: Sequence[Job], folder: Path) -> None:
    """Workers must be there, see the same files, and run the same programs."""
    address = client.scheduler.address
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError:
        raise SessionError(
            f"--cluster {address}: the scheduler has no workers; start some with `dask worker`"
        ) from None
    logs = sorted({path for job in jobs for path in _list_existing_logs(job)})[:1]
    with _place_probe(folder) as probe:
        needed = [_name_for_workers(path) for path in (probe, *logs)]
        look = functools.partial(_describe_misfit, needed, dict(programs()))
        found = client.run(look, on_error="return")
    for name, told in sorted(found.items()):
        if told and not isinstance(told, CommClosedError):  # one that has just died does no harm
            raise SessionError(f"--cluster {address}: worker {name} {_format_answer(told)}")


@contextmanager
def _place_probe(folder: Path) -> Generator[Path, None, None]:
    """A file that workers should see; one that is left behind goes at the next start."""
    probe = folder / RUNS_FOLDER / f".probe.{secrets.token_hex(4)}.part"
    try:
        probe.touch()
        yield probe
    except OSError as error:
        raise SessionError(describe_write_error(folder / RUNS_FOLDER, error)) from error
    finally:
        probe.unlink(missing_ok=True)


def _name_for_workers(path: Path) -> str:
    return str(path)


def _list_existing_logs(job: Job) -> list[Path]:
    return [path for path in job.task.session.log_paths(job.task.run.id).values() if path.is_file()]


def _describe_misfit(paths: Sequence[str], wanted: dict[str, str]) -> str:
    """What keeps this worker from doing the work; empty when nothing does."""
    for path in paths:
        if not Path(path).is_file():
            return (
                f"does not see {path}; session and output folder must be on a file system that "
                "all workers share, under the same path"
            )
    for name, version in programs().items():
        if wanted.get(name) != version:
            here = wanted.get(name, "none")[:12]
            return f"has other {name}: {version[:12]} instead of {here}; install the same"
    return ""


def _format_answer(told: object) -> str:
    if isinstance(told, BaseException):
        return f"cannot do the work: {type(told).__name__}: {told}; install the same imuproc there"
    return str(told)


def _work_in_worker(job: Job, method: Method) -> Outcome:
    # The thread count of linear algebra and the record of warnings are the whole process's.
    with _ONE_AT_A_TIME:
        return work_on(job, method)


class _Work:
    """Jobs handed to the scheduler, each with a future of its own."""

    def __init__(self, client: Client, method: Method) -> None:
        self._client, self._method = client, method
        self._ready: queue.SimpleQueue[Future] = queue.SimpleQueue()
        self._workers_seen = time.monotonic()
        self.given_up: list[Job] = []
        """Jobs that the scheduler gave up because workers died with them."""

    def iterate_outcomes(self, jobs: Sequence[Job]) -> Generator[Outcome, None, None]:
        """Outcomes as they are ready; those of :attr:`given_up` are not among them."""
        waiting = {self._submit_job(job): job for job in jobs}
        for handed in waiting:
            handed.add_done_callback(self._ready.put)
        try:
            while waiting:
                future = self._wait_for_next()
                if future is not None:
                    job = waiting.pop(future)
                    outcome = self._take_outcome(job, future)
                    if outcome is not None:
                        yield outcome
                elif reason := self._explain_loss():
                    for job in waiting.values():
                        yield Outcome(job.task.run.id, "failed", reason=reason)
                    return
        finally:
            self._cancel_futures(list(waiting))

    def _submit_job(self, job: Job) -> Future:
        return self._client.submit(_work_in_worker, job, self._method, pure=False)

    def _wait_for_next(self) -> Future | None:
        try:
            return self._ready.get(timeout=_LOOK_S)
        except queue.Empty:
            return None

    def _take_outcome(self, job: Job, future: Future) -> Outcome | None:
        if future.status == "finished":
            outcome: Outcome = future.result(timeout=CONNECT_S)
            return outcome
        if future.status == "error":
            error = future.exception(timeout=CONNECT_S)
            if isinstance(error, KilledWorker):
                self.given_up.append(job)
                return None
            reason = f"the cluster could not do it: {type(error).__name__}: {error}"
            return Outcome(job.task.run.id, "failed", reason=reason)
        return Outcome(job.task.run.id, "failed", reason=LOST)

    def _explain_loss(self) -> str:
        """Why nothing more will come; empty while something may."""
        if self._client.status != "running":
            return LOST
        try:
            workers = self._client.scheduler_info()["workers"]
        except (OSError, TimeoutError):
            return LOST
        if workers:
            self._workers_seen = time.monotonic()
        return EMPTY if time.monotonic() - self._workers_seen > NO_WORKER_S else ""

    def _cancel_futures(self, futures: list[Future]) -> None:
        if futures and self._client.status == "running":
            self._client.cancel(futures)
