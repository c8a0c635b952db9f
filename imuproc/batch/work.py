"""One run in isolation: read, processed, archived; its errors leave the others alone."""

import time
import traceback
import warnings
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from threadpoolctl import threadpool_limits

from imuproc.batch.fingerprint import input_digests
from imuproc.batch.logs import SessionLogs
from imuproc.batch.outcome import Outcome
from imuproc.batch.store import Job, keep, load
from imuproc.core.errors import ImuprocError, LogError, RunError
from imuproc.core.result import Result
from imuproc.files.text import clean_text
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import LogSource

Method = Callable[[LogSource, Settings], Iterable[Result | RunError]]
"""What turns a recording into results: :func:`imuproc.pipeline.run.process_each`."""

Tell = Callable[[str, int], None]
"""Takes the id and the steps of one of several runs of a log when it is in the archive."""


def unheard(_run: str, _steps: int) -> None:
    """Tell nobody."""


def work_on(job: Job, method: Method, tell: Tell = unheard) -> Outcome:
    """Read, process and archive one recording; the one place where any error of a run ends.

    Linear algebra is held to one thread, so that its sums come out the same wherever it runs.

    Parameters
    ----------
    job : Job
    method : callable
        Turns logs and Settings into a Result for each run.
    tell : callable
        As :data:`Tell`; a log of one run is told by its outcome alone.

    Returns
    -------
    Outcome
        Failed when the logs cannot be read, the run cannot be processed, its archive cannot be
        written, or the package itself has a fault: then its traceback is in ``log``.
    """
    begin = time.perf_counter()
    outcome = Outcome(job.task.run.id, "failed")
    with warnings.catch_warnings(record=True) as caught, threadpool_limits(limits=1):
        warnings.simplefilter("always")
        try:
            steps = _archive_job(job, method, tell)
            outcome = replace(outcome, state="done", steps=steps, rows=tuple(load(job)))
        except ImuprocError as error:
            outcome = replace(outcome, reason=clean_text(str(error)))
        except MemoryError:
            reason = "not enough memory for this run; use fewer workers at once (--jobs)"
            outcome = replace(outcome, reason=reason, log=traceback.format_exc())
        except Exception as error:  # noqa: BLE001  our own fault in one run must not cost the others
            reason = clean_text(f"unexpected {type(error).__name__}: {error} (see process.log)")
            outcome = replace(outcome, reason=reason, log=traceback.format_exc())
    told = "\n".join(f"{w.category.__name__}: {clean_text(str(w.message))}" for w in caught)
    seconds = time.perf_counter() - begin
    return replace(outcome, log=f"{told}\n{outcome.log}".strip(), seconds=seconds)


def _archive_job(job: Job, method: Method, tell: Tell) -> int:
    settings: Settings = job.settings
    source = SessionLogs(job.task.session, job.task.run.id, settings.long.piece_samples)
    found = _tell_each_run(method(source, settings), job.task.run.id, tell)
    return keep(job, found, lambda: _require_unchanged(job))


def _tell_each_run(
    found: Iterable[Result | RunError], log_id: str, tell: Tell
) -> Iterator[Result | RunError]:
    """Pass results on, and tell of each of several runs once it has been taken."""
    for item in found:
        yield item
        if isinstance(item, Result) and item.run != log_id:
            tell(item.run, len(item.steps))


def _require_unchanged(job: Job) -> None:
    """What has been read must be what the fingerprint was taken of."""
    try:
        now = input_digests(job.task)
    except OSError as error:
        reason = error.strerror or str(error)
        raise LogError(f"a log can no longer be read: {reason}; run again") from error
    changed = [name for name in now if now[name] != job.inputs.get(name)]
    if changed:
        raise LogError(
            f"{', '.join(changed)}: changed while this command ran; run again when it is complete"
        )
