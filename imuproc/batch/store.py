"""Finished work on disk: one archive per recording, recognised by its fingerprint."""

import datetime
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from imuproc.batch.outcome import Row
from imuproc.batch.plan import Task
from imuproc.core.errors import ArchiveError, RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.result import Distance, Result
from imuproc.files.disk_errors import cannot_be_written
from imuproc.pipeline.run import refusal_flags
from imuproc.results.archive.assembling import assemble_session
from imuproc.results.archive.reading import Archive, ArchivedRun, open_archive
from imuproc.results.archive.writing import Provenance, open_run_archive
from imuproc.results.folder import RUNS_FOLDER, SESSION_ARCHIVE
from imuproc.results.summary import RUN_COLUMNS, RunSummary, start_time, summarise_run

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Job:
    """A task with all that it depends on.

    Parameters
    ----------
    task : Task
    settings : object
        Settings of the method.
    inputs : mapping from str to str
        As :func:`imuproc.batch.fingerprint.input_digests` gives them; empty where a log cannot
        be read.
    fingerprint : str
        Empty where a log cannot be read.
    archive : Path
        Where the result goes.
    """

    task: Task
    settings: Any
    inputs: Mapping[str, str]
    fingerprint: str
    archive: Path

    @property
    def shown(self) -> str:
        """Path of the archive within the folder of results."""
        return f"{RUNS_FOLDER}/{self.archive.name}"


def keep(
    job: Job,
    found: Iterable[Result | RunError],
    still_valid: Callable[[], None] | None = None,
) -> int:
    """Write the archive of a recording, run after run as they come.

    Parameters
    ----------
    job : Job
    found : iterable of Result or RunError
        As :func:`imuproc.pipeline.run.process_each` gives them.
    still_valid : callable, optional
        Called when all is written and before it counts; it raises where it must not count.

    Returns
    -------
    int
        Steps in it.

    Raises
    ------
    ArchiveError
        It cannot be written; the text says why and what to do.
    """
    runs: dict[str, _Run] = {}
    flags: list[RaisedFlag] = []
    refused: list[RunError] = []
    provenance = Provenance(job.fingerprint, job.inputs, job.settings)
    try:
        with open_run_archive(job.archive, provenance) as archive:
            for item in found:
                if isinstance(item, RunError):
                    refused.append(item)
                    continue
                archive.add(item)
                started = start_time(item.steps, _zero_at(item))
                runs[item.run] = _Run(item.steps, item.distances.get(item.run), started)
                flags += item.flags
            flags += refusal_flags(refused)
            archive.close(_run_rows(job, runs, flags), flags)
            if still_valid is not None:
                still_valid()
    except OSError as error:
        raise ArchiveError(cannot_be_written(job.shown, error)) from error
    return sum(len(run.steps) for run in runs.values())


@dataclass(frozen=True, eq=False)
class _Run:
    """What the run table needs of a run that is written already."""

    steps: "pd.DataFrame"
    distance: Distance | None
    start_time: str


def _zero_at(result: Result) -> datetime.datetime | None:
    """When the clock of a result counts 0: that of its first log, on which the others are put."""
    logs = list(result.conditioned.recording.logs.values())
    return logs[0].zero_at if logs else None


def _run_rows(
    job: Job, runs: Mapping[str, _Run], flags: Sequence[RaisedFlag]
) -> dict[str, Mapping[str, Any]]:
    """Row of the run table of each run."""
    rows: dict[str, Mapping[str, Any]] = {}
    for name, of_run in runs.items():
        own = tuple(flag for flag in flags if flag.run in ("", name))
        about = (job.task.session.id, job.task.athlete, replace(job.task.run, id=name))
        summary = summarise_run(*about, of_run.steps, own, of_run.distance)
        summary = replace(summary, start_time=of_run.start_time)
        rows[name] = {column.name: summary.value(column.name) for column in RUN_COLUMNS}
    return rows


def is_current(job: Job) -> bool:
    """Whether the archive of a job is there, whole, and of the same fingerprint."""
    if not (job.fingerprint and job.archive.is_file()):
        return False
    try:
        with open_archive(job.archive) as archive:
            return _is_of(archive, job)
    except ArchiveError:
        return False


def load(job: Job) -> list[Row]:
    """Rows of a recording for the tables, from its archive alone.

    Raises
    ------
    ArchiveError
        The archive is not there, not whole, or not of this job; the text holds no absolute path.
    """
    try:
        with open_archive(job.archive) as archive:
            if not _is_of(archive, job):
                raise ArchiveError(
                    f"{job.archive}: is of other logs or settings: another process has replaced "
                    "it; run the same command again"
                )
            return [_row(job.task, archive.run(run_id)) for run_id in archive.runs]
    except ArchiveError as error:
        raise ArchiveError(str(error).replace(str(job.archive), job.shown)) from error


def join_archives(
    folder: Path, jobs: Sequence[Job], session: Mapping[str, Any], left_out: Collection[str] = ()
) -> None:
    """Write the archive of the session from those of its recordings.

    Parameters
    ----------
    folder : Path
    jobs : sequence of Job
        Those whose archives are current, in the order of the plan.
    session : mapping
        What is known of the session as a whole.
    left_out : collection of str
        Runs that are not to be in it.

    Raises
    ------
    ArchiveError
        An archive is damaged.
    OSError
        The file cannot be written.
    """
    archives = [job.archive for job in jobs]
    assemble_session(folder / SESSION_ARCHIVE, archives, session, left_out)


def _is_of(archive: Archive, job: Job) -> bool:
    return {archive.fingerprint(run_id) for run_id in archive.runs} == {job.fingerprint}


def _row(task: Task, run: ArchivedRun) -> Row:
    steps = run.steps
    distance = Distance(**run.distance) if run.distance else None
    of_run = replace(task.run, id=run.id)
    summary: RunSummary = summarise_run(
        task.session.id, task.athlete, of_run, steps, run.flags, distance
    )
    started = str(run.summary.get("start_time") or "")
    return Row(task.run.id, replace(summary, start_time=started), steps)
