"""The tables of a session, always made anew from the archives of its recordings."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path

from imuproc.batch.folder import RESULTS
from imuproc.batch.outcome import Outcome, Row
from imuproc.batch.plan import Task
from imuproc.batch.store import Job, join_archives, load
from imuproc.core.columns import STEP_COLUMNS
from imuproc.core.errors import ArchiveError, SessionError
from imuproc.files.disk_errors import describe_write_error
from imuproc.files.text import clean_text
from imuproc.results.columns import PHASE_COLUMNS, RUN_COLUMNS
from imuproc.results.folder import SESSION_ARCHIVE
from imuproc.results.summary import failed_run
from imuproc.results.tables import (
    PHASES_CSV,
    PHASES_PARQUET,
    RUNS_CSV,
    STEPS_CSV,
    STEPS_PARQUET,
    joined_steps,
    phases_table,
    runs_table,
    write_csv,
    write_parquet,
)


def gather(jobs: Sequence[Job], outcomes: Mapping[str, Outcome]) -> list[Row]:
    """Rows of all runs that there is something to say about, in the order of the plan.

    Parameters
    ----------
    jobs : sequence of Job
        All of the session, in the order of the plan.
    outcomes : mapping from str to Outcome
        By run; runs that were not worked on are in the tables when their archive is current.

    Returns
    -------
    list of Row
        From the archives alone, so that they do not depend on who did the work and when.
    """
    rows: list[Row] = []
    for job in jobs:
        outcome = outcomes.get(job.task.run.id)
        if outcome is not None and outcome.state == "failed":
            rows.append(_make_failed_row(job, outcome.reason))
            continue
        try:
            rows += (outcome and outcome.rows) or load(job)
        except ArchiveError as error:
            if outcome is not None:
                rows.append(_make_failed_row(job, str(error)))
    return rows


def write_results(folder: Path, jobs: Sequence[Job], rows: Sequence[Row]) -> dict[str, str]:
    """Write the tables of steps, runs and phases, and the archive of the session.

    Parameters
    ----------
    folder : Path
        As :func:`imuproc.batch.folder.output_folder` gives it.
    jobs : sequence of Job
        All of the session, in the order of the plan.
    rows : sequence of Row
        As :func:`gather` gives them.

    Returns
    -------
    dict from str to str
        Name of each file and its path.

    Raises
    ------
    SessionError
        A file cannot be written; the text names it.
    """
    steps = joined_steps([row.steps for row in rows if row.steps is not None])
    summaries = [row.summary for row in rows]
    done = {row.task for row in rows if not row.failed}
    failed = {row.summary.run for row in rows if row.failed}
    current = [job for job in jobs if job.task.run.id in done]
    facts = session_facts([job.task for job in jobs])
    phases = phases_table(summaries)
    writers: dict[str, Callable[[Path], None]] = {
        STEPS_CSV: partial(write_csv, table=steps, columns=STEP_COLUMNS),
        STEPS_PARQUET: partial(write_parquet, table=steps, columns=STEP_COLUMNS),
        RUNS_CSV: partial(write_csv, table=runs_table(summaries), columns=RUN_COLUMNS),
        PHASES_CSV: partial(write_csv, table=phases, columns=PHASE_COLUMNS),
        PHASES_PARQUET: partial(write_parquet, table=phases, columns=PHASE_COLUMNS),
        SESSION_ARCHIVE: lambda path: join_archives(path.parent, current, facts, failed),
    }
    for name in RESULTS:
        try:
            writers[name](folder / name)
        except OSError as error:
            raise SessionError(describe_write_error(folder / name, error)) from error
    return {name: (folder / name).as_posix() for name in RESULTS}


def _make_failed_row(job: Job, reason: str) -> Row:
    task = job.task
    summary = failed_run(task.session.id, task.athlete, task.run, clean_text(reason))
    return Row(task.run.id, summary, None)


def session_facts(tasks: Sequence[Task]) -> dict[str, object]:
    """What the session file states of the session as a whole.

    Parameters
    ----------
    tasks : sequence of Task
        All of the session.
    """
    if not tasks:
        return {}
    names = ("id", "date", "surface", "latitude_deg", "gravity_mps2", "note")
    return {name: getattr(tasks[0].session, name) for name in names}
