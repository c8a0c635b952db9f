"""Finished work on disk: one archive per recording, recognised by its fingerprint."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from imuproc.batch.outcome import Row
from imuproc.batch.plan import Task
from imuproc.core.errors import ArchiveError, RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.result import Result
from imuproc.files.disk_errors import describe_write_error
from imuproc.pipeline.run import flag_refusals
from imuproc.results.archive.assembling import assemble_session
from imuproc.results.archive.reading import Archive, ArchivedRun, open_archive
from imuproc.results.archive.writing import Provenance, open_run_archive
from imuproc.results.folder import RUNS_FOLDER, SESSION_ARCHIVE
from imuproc.results.summarising import summarise, summarise_archived
from imuproc.results.summary import RunSummary


@dataclass(frozen=True)
class Job:
    """A task with all that it depends on.

    Parameters
    ----------
    task : Task
    settings : object
        Settings of the method.
    inputs : mapping from str to str
        As :func:`imuproc.batch.fingerprint.hash_inputs` gives them; empty where a log cannot
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


def write_archive(
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
    runs: list[RunSummary] = []
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
                runs.append(summarise(item))
                flags += item.flags
            flags += flag_refusals(refused)
            archive.close({run.run: _attach_flags(run, flags).row() for run in runs}, flags)
            if still_valid is not None:
                still_valid()
    except OSError as error:
        raise ArchiveError(describe_write_error(job.shown, error)) from error
    return sum(run.counts["steps"] for run in runs)


def _attach_flags(run: RunSummary, flags: Sequence[RaisedFlag]) -> RunSummary:
    """A run with its own flags and those of the recording as a whole."""
    return replace(run, flags=tuple(flag for flag in flags if flag.run in ("", run.run)))


def is_current(job: Job) -> bool:
    """Whether the archive of a job is there, whole, and of the same fingerprint."""
    if not (job.fingerprint and job.archive.is_file()):
        return False
    try:
        with open_archive(job.archive) as archive:
            return _is_archive_of(archive, job)
    except ArchiveError:
        return False


def load_rows(job: Job) -> list[Row]:
    """Rows of a recording for the tables, from its archive alone.

    Raises
    ------
    ArchiveError
        The archive is not there, not whole, or not of this job; the text holds no absolute path.
    """
    try:
        with open_archive(job.archive) as archive:
            if not _is_archive_of(archive, job):
                raise ArchiveError(
                    f"{job.archive}: is of other logs or settings: another process has replaced "
                    "it; run the same command again"
                )
            return [_make_row(job, archive.run(run_id)) for run_id in archive.runs]
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


def _is_archive_of(archive: Archive, job: Job) -> bool:
    return {archive.fingerprint(run_id) for run_id in archive.runs} == {job.fingerprint}


def _make_row(job: Job, run: ArchivedRun) -> Row:
    steps = run.steps
    return Row(job.task.run.id, summarise_archived(run, steps), steps)
