"""A whole session: planned, worked through, its results written, whatever happens between."""

from collections.abc import Generator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from imuproc import __version__
from imuproc.batch.fingerprint import compute_fingerprint, hash_inputs
from imuproc.batch.folder import remove_leftovers
from imuproc.batch.local import work_in_processes, work_in_turn
from imuproc.batch.log import PROCESS_LOG, ProcessLog
from imuproc.batch.outcome import Outcome, Row
from imuproc.batch.pages import forget_pages, make_report
from imuproc.batch.plan import Task
from imuproc.batch.processed import Processed
from imuproc.batch.store import Job, is_current
from imuproc.batch.strict import apply_strict_rule
from imuproc.batch.tables import describe_session, gather_rows, write_results
from imuproc.batch.work import Method, Tell, tell_nobody
from imuproc.core.errors import SessionError
from imuproc.core.flag_policy import select_run_flags
from imuproc.files.disk_errors import describe_write_error
from imuproc.files.text import clean_text
from imuproc.pipeline.settings import Settings
from imuproc.results.folder import archive_path


@dataclass(frozen=True, eq=False)
class Request:
    """What is to be done, and by whom.

    Parameters
    ----------
    tasks : sequence of Task
        All runs of the session.
    method : callable
        Turns logs and Settings into a Result for each run.
    settings : Settings
    jobs : int
        Worker processes on this machine, at least 1.
    cluster : str or None
        Address of a Dask scheduler that does the work instead.
    again : bool
        Whether finished work is done again.
    report : bool
        Whether the report for people is made too.
    targets : Path or None
        Target sets that it is held to, beside the default one.
    strict : bool
        Whether a run with a serious flag counts as failed.
    """

    tasks: Sequence[Task]
    method: Method
    settings: Settings
    jobs: int = 1
    cluster: str | None = None
    again: bool = False
    report: bool = True
    targets: Path | None = None
    strict: bool = False


class Watch(Protocol):
    """Who wants to see work while it goes on."""

    @property
    def tell(self) -> Tell:
        """Hears of each of several runs of a log, in whatever process of this machine does it."""

    def tell_plan(self, reused: int, to_do: int) -> None:
        """How many runs are there already, and how many are to be worked on."""

    def tell_run(self, outcome: Outcome) -> None:
        """What became of a run that was worked on."""


class Unwatched:
    """Nobody wants to see it."""

    tell = staticmethod(tell_nobody)

    def tell_plan(self, reused: int, to_do: int) -> None:
        """Nothing."""

    def tell_run(self, outcome: Outcome) -> None:
        """Nothing."""


def process_tasks(request: Request, folder: Path, watch: Watch) -> Processed:
    """Process the runs of a session and write the results.

    Work that is there already is recognised by its fingerprint and not done again.

    Parameters
    ----------
    request : Request
    folder : Path
        As :func:`imuproc.batch.folder.hold_output_folder` gives it.
    watch : Watch

    Returns
    -------
    Processed

    Raises
    ------
    SessionError
        The results cannot be written, or the cluster cannot be used.
    KeyboardInterrupt
        Stopped before any work, or again while the tables were being written; no file is then
        half-written.
    """
    log = ProcessLog(folder)
    jobs, there = _look_up_jobs(request, folder)
    outcomes = {
        job.task.run.id: Outcome(job.task.run.id, "reused") for job in there if job.task.wanted
    }
    to_do = [job for job in jobs if job.task.wanted and job.task.run.id not in outcomes]
    reused = len(outcomes)
    log.add_line(f"imuproc {__version__}: {len(to_do)} runs to do, {reused} reused")
    watch.tell_plan(reused, len(to_do))
    forget_pages(folder, (job.task.run.id for job in to_do))
    interrupted = False
    work = _start_work(request, to_do, folder, watch.tell)
    try:
        for outcome in work:
            outcomes[outcome.run] = outcome
            log.add_outcome(outcome)
            watch.tell_run(outcome)
    except KeyboardInterrupt:
        interrupted = True
        log.add_line(f"interrupted after {len(outcomes) - reused} of {len(to_do)} runs")
    finally:
        work.close()
    rows = gather_rows(jobs, outcomes)
    rows = apply_strict_rule(rows) if request.strict else rows
    processed = _write_tables(folder, jobs, outcomes, rows, log, interrupted)
    return _add_report(request, folder, processed) if request.report else processed


def _add_report(request: Request, folder: Path, processed: Processed) -> Processed:
    """Make the report and add its files, or the reason why there is none."""
    if processed.interrupted:
        files: dict[str, str] = {}
        complaint = "the report is not made; `imuproc report` makes it"
    else:
        new = {run for run, outcome in processed.outcomes.items() if outcome.state != "reused"}
        # What strictness decides may have been decided otherwise when the page was made.
        new |= {row.task for row in processed.rows if select_run_flags(row.summary.flags, "strict")}
        facts = describe_session(request.tasks)
        files, complaint = make_report(folder, new, facts, request.targets, request.jobs)
    return replace(
        processed,
        files={**processed.files, **files},
        complaints=(*processed.complaints, complaint) if complaint else processed.complaints,
    )


def _write_tables(
    folder: Path,
    jobs: Sequence[Job],
    outcomes: dict[str, Outcome],
    rows: list[Row],
    log: ProcessLog,
    interrupted: bool,
) -> Processed:
    """Write the tables, and say what became of all."""
    remove_leftovers(folder)
    files = write_results(folder, jobs, rows)
    log.add_line("results written")
    complaints = (describe_write_error(log.path, log.fault),) if log.fault else ()
    wanted = {job.task.run.id for job in jobs if job.task.wanted}
    return Processed(
        jobs[0].task.session.id if jobs else "",
        folder,
        len(wanted),
        tuple(row for row in rows if row.task in wanted),
        outcomes,
        {**files, PROCESS_LOG: log.path.as_posix()},
        interrupted,
        complaints,
    )


def _look_up_jobs(request: Request, folder: Path) -> tuple[list[Job], list[Job]]:
    """The job of each task, and those among them whose archives need not be made again."""
    known: dict[Path, str] = {}

    def look_up_job(task: Task) -> tuple[Job, bool]:
        archive = archive_path(folder, task.run.id)
        try:
            inputs = hash_inputs(task, known)
        except OSError:  # the reader says it better when it comes to this run
            return Job(task, request.settings, {}, "", archive), False
        job = Job(
            task, request.settings, inputs, compute_fingerprint(inputs, request.settings), archive
        )
        return job, not (request.again and task.wanted) and is_current(job)

    with ThreadPoolExecutor(max_workers=request.jobs) as threads:
        looked = list(threads.map(look_up_job, request.tasks))
    return [job for job, _ in looked], [job for job, current in looked if current]


def _start_work(
    request: Request, jobs: Sequence[Job], folder: Path, tell: Tell
) -> Generator[Outcome, None, None]:
    if request.cluster is not None and jobs:
        try:
            from imuproc.batch.cluster import work_on_cluster
        except ImportError as error:
            raise SessionError(
                "--cluster needs what `pip install 'imuproc[cluster]'` adds "
                f"({clean_text(str(error))})"
            ) from error
        return work_on_cluster(jobs, request.method, request.cluster, folder)
    workers = min(request.jobs, len(jobs))
    if workers > 1:
        return work_in_processes(jobs, request.method, tell, workers)
    return work_in_turn(jobs, request.method, tell)
