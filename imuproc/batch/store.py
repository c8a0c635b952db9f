"""Finished work on disk: one archive per recording, recognised by its fingerprint."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from imuproc.archive.assembling import assemble_session
from imuproc.archive.reading import Archive, ArchivedRun, open_archive
from imuproc.archive.writing import Provenance, write_run_archive
from imuproc.batch.faults import cannot_be_written
from imuproc.batch.outcome import Row
from imuproc.batch.plan import Task
from imuproc.core.errors import ArchiveError
from imuproc.core.result import Distance, Result
from imuproc.report.summary import RUN_COLUMNS, RunSummary, summarise_run

RUNS_FOLDER: Final = "runs"
SESSION_ARCHIVE: Final = "session.h5"


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


def archive_path(folder: Path, run_id: str) -> Path:
    """Where the archive of a recording lies in the folder of results."""
    return folder / RUNS_FOLDER / f"{run_id}.h5"


def keep(job: Job, result: Result) -> None:
    """Write the archive of a recording.

    Raises
    ------
    ArchiveError
        It cannot be written; the text says why and what to do.
    """
    names = list(dict.fromkeys(result.steps["run"])) or [job.task.run.id]
    rows: dict[str, Mapping[str, Any]] = {}
    for name in names:
        steps = result.steps[result.steps["run"] == name]
        flags = tuple(flag for flag in result.flags if flag.run in ("", name))
        run = replace(job.task.run, id=name)
        about = (job.task.session.id, job.task.athlete, run)
        summary = summarise_run(*about, steps, flags, result.distances.get(name))
        rows[name] = {column.name: summary.value(column.name) for column in RUN_COLUMNS}
    provenance = Provenance(job.fingerprint, job.inputs, job.settings, rows)
    try:
        write_run_archive(job.archive, result, provenance)
    except OSError as error:
        raise ArchiveError(cannot_be_written(job.shown, error)) from error


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


def join_archives(folder: Path, jobs: Sequence[Job], session: Mapping[str, Any]) -> None:
    """Write the archive of the session from those of its recordings.

    Parameters
    ----------
    folder : Path
    jobs : sequence of Job
        Those whose archives are current, in the order of the plan.
    session : mapping
        What is known of the session as a whole.

    Raises
    ------
    ArchiveError
        An archive is damaged.
    OSError
        The file cannot be written.
    """
    assemble_session(folder / SESSION_ARCHIVE, [job.archive for job in jobs], session)


def _is_of(archive: Archive, job: Job) -> bool:
    prints = {archive.run(run_id).fingerprint for run_id in archive.runs}
    return prints == {job.fingerprint}


def _row(task: Task, run: ArchivedRun) -> Row:
    steps = run.steps
    distance = Distance(**run.distance) if run.distance else None
    of_run = replace(task.run, id=run.id)
    summary: RunSummary = summarise_run(
        task.session.id, task.athlete, of_run, steps, run.flags, distance
    )
    return Row(task.run.id, summary, steps)
