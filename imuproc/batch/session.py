"""A whole session: its runs worked through, its results written, whatever happens between."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from imuproc import __version__
from imuproc.batch.folder import ProcessLog, write_results
from imuproc.batch.outcome import Outcome
from imuproc.batch.plan import Task
from imuproc.batch.work import Method, work_through


@dataclass(frozen=True, eq=False)
class Processed:
    """What became of a session.

    Parameters
    ----------
    outcomes : tuple of Outcome
        In the order of the tasks; a long log may give several.
    tasks_done : int
        Fewer than there are tasks after an interruption.
    files : dict from str to str
        Name of each file written and its path.
    interrupted : bool
        Whether the user stopped it.
    """

    outcomes: tuple[Outcome, ...]
    tasks_done: int
    files: dict[str, str]
    interrupted: bool


def process_tasks(
    tasks: Sequence[Task], method: Method, folder: Path, tell: Callable[[], None]
) -> Processed:
    """Process runs and write their results.

    Parameters
    ----------
    tasks : sequence of Task
    method : callable
        Turns a Recording into a Result.
    folder : Path
        As :func:`imuproc.batch.folder.prepare_folder` left it.
    tell : callable
        Called after each task.

    Returns
    -------
    Processed

    Raises
    ------
    SessionError
        The results cannot be written.
    """
    log = ProcessLog(folder)
    log.line(f"imuproc {__version__}: {len(tasks)} runs")
    outcomes: list[Outcome] = []
    done, interrupted = 0, False
    before = time.perf_counter()
    try:
        for of_task in work_through(tasks, method):
            outcomes += of_task
            done += 1
            now = time.perf_counter()
            log.outcomes(of_task, now - before)
            before = now
            tell()
    except KeyboardInterrupt:
        interrupted = True
        log.line(f"interrupted after {done} of {len(tasks)} runs")
    files = write_results(folder, outcomes)
    log.line("results written")
    return Processed(tuple(outcomes), done, files, interrupted)
