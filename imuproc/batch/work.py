"""Recordings worked through one after the other; what goes wrong in one leaves the others alone."""

import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from imuproc.batch.outcome import Outcome
from imuproc.batch.plan import Task
from imuproc.core.errors import ImuprocError
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.report.summary import failed_run, summarise_run
from imuproc.report.text import clean

if TYPE_CHECKING:
    pass

Method = Callable[[Recording], Result]
"""What turns a recording into a result: :func:`imuproc.process`, its settings filled in."""


def work_through(tasks: Sequence[Task], method: Method) -> Iterator[tuple[Outcome, ...]]:
    """Process recording after recording.

    Parameters
    ----------
    tasks : sequence of Task
    method : callable
        Turns a Recording into a Result.

    Yields
    ------
    tuple of Outcome
        Those of one task, as soon as they are there, in the order of the tasks.
    """
    for task in tasks:
        yield work_on(task, method)


def work_on(task: Task, method: Method) -> tuple[Outcome, ...]:
    """Read and process one recording; the one place where any error of a run ends.

    Parameters
    ----------
    task : Task
    method : callable
        Turns a Recording into a Result.

    Returns
    -------
    tuple of Outcome
        One for each run that the recording holds; a single failed one when the logs cannot be
        read, the run cannot be processed, or the package itself has a fault: then its traceback
        is in ``log``.
    """
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            outcomes = _done(task, method)
        except ImuprocError as error:
            outcomes = [_failed(task, str(error))]
        except Exception as error:  # noqa: BLE001  our own fault in one run must not cost the others
            reason = f"unexpected {type(error).__name__}: {error} (see process.log)"
            outcomes = [_failed(task, reason, traceback.format_exc())]
    told = "\n".join(f"{w.category.__name__}: {clean(str(w.message))}" for w in caught)
    first = replace(outcomes[0], log=f"{told}\n{outcomes[0].log}".strip())
    return (first, *outcomes[1:])


def _done(task: Task, method: Method) -> list[Outcome]:
    recording = task.session.read_run(task.run.id)
    result = method(recording)
    names = list(dict.fromkeys(result.steps["run"])) or [recording.run.id]
    outcomes = []
    for name in names:
        steps = result.steps[result.steps["run"] == name]
        flags = tuple(flag for flag in result.flags if flag.run in ("", name))
        run = replace(recording.run, id=name)
        distance = result.distances.get(name)
        summary = summarise_run(recording.session, recording.athlete, run, steps, flags, distance)
        outcomes.append(Outcome(summary, steps))
    return outcomes


def _failed(task: Task, reason: str, log: str = "") -> Outcome:
    summary = failed_run(task.session.id, task.athlete, task.run, clean(reason))
    return Outcome(summary, None, log)
