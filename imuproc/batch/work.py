"""Runs worked through one after the other; what goes wrong in one leaves the others alone."""

import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from imuproc.batch.outcome import Outcome
from imuproc.batch.plan import Task
from imuproc.core.errors import ImuprocError
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.report.summary import failed_run, summarise_run
from imuproc.report.text import clean

Method = Callable[[Recording], Result]
"""What turns a recording into a result: :func:`imuproc.process`, its settings filled in."""


def work_through(tasks: Sequence[Task], method: Method) -> Iterator[Outcome]:
    """Process run after run.

    Parameters
    ----------
    tasks : sequence of Task
    method : callable
        Turns a Recording into a Result.

    Yields
    ------
    Outcome
        One for each task, in order, as soon as it is there.
    """
    for task in tasks:
        yield work_on(task, method)


def work_on(task: Task, method: Method) -> Outcome:
    """Read and process one run; the one place where any error of a run ends.

    Parameters
    ----------
    task : Task
    method : callable
        Turns a Recording into a Result.

    Returns
    -------
    Outcome
        A failed one when the logs cannot be read, the run cannot be processed, or the package
        itself has a fault: then its traceback is in ``log``.
    """
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            outcome = _done(task, method)
        except ImuprocError as error:
            outcome = _failed(task, str(error))
        except Exception as error:  # noqa: BLE001  a fault of ours in one run must not cost the others
            reason = f"unexpected {type(error).__name__}: {error} (see process.log)"
            outcome = _failed(task, reason, traceback.format_exc())
    messages = [f"{warning.category.__name__}: {clean(str(warning.message))}" for warning in caught]
    return Outcome(outcome.summary, outcome.steps, "\n".join([*messages, outcome.log]).strip())


def _done(task: Task, method: Method) -> Outcome:
    recording = task.session.read_run(task.run.id)
    result = method(recording)
    run = replace(recording.run, id=result.run)
    summary = summarise_run(result.session, recording.athlete, run, result.steps, result.flags)
    return Outcome(summary, result.steps)


def _failed(task: Task, reason: str, log: str = "") -> Outcome:
    summary = failed_run(task.session.id, task.athlete, task.run, clean(reason))
    return Outcome(summary, None, log)
