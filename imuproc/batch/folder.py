"""The folder that results go into."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from imuproc.batch.outcome import Outcome
from imuproc.batch.plan import Task
from imuproc.core.errors import SessionError
from imuproc.core.files import replaced_file
from imuproc.report.tables import (
    RUNS_CSV,
    STEPS_CSV,
    STEPS_PARQUET,
    joined_steps,
    write_runs_csv,
    write_steps_csv,
    write_steps_parquet,
)

PROCESS_LOG: Final = "process.log"


def prepare_folder(folder: Path, tasks: Sequence[Task]) -> None:
    """Make the folder and see that results can be written before any work is done.

    Parameters
    ----------
    folder : Path
    tasks : sequence of Task
        Their logs must not be overwritten.

    Raises
    ------
    SessionError
        It is a file, it cannot be written, or a result would replace a log or the session file.
    """
    if folder.exists() and not folder.is_dir():
        raise SessionError(f"{folder}: found a file; allowed as output: a folder")
    inputs = {path.resolve() for task in tasks for path in _inputs(task)}
    for name in (STEPS_CSV, STEPS_PARQUET, RUNS_CSV, PROCESS_LOG):
        if (folder / name).resolve() in inputs:
            raise SessionError(
                f"{folder / name}: is an input of this session and would be overwritten; "
                "allowed as output: another folder"
            )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with replaced_file(folder / PROCESS_LOG) as temporary:
            temporary.write_text("", encoding="utf-8")
    except OSError as error:
        raise SessionError(f"{folder}: cannot be written ({error.strerror or error})") from error


def _inputs(task: Task) -> list[Path]:
    return [task.session.path, *task.session.log_paths(task.run.id).values()]


def write_results(folder: Path, outcomes: Sequence[Outcome]) -> dict[str, str]:
    """Write the step table and the run table.

    Parameters
    ----------
    folder : Path
        As :func:`prepare_folder` left it.
    outcomes : sequence of Outcome

    Returns
    -------
    dict from str to str
        Name of each file and its path.

    Raises
    ------
    SessionError
        A file cannot be written.
    """
    steps = joined_steps([outcome.steps for outcome in outcomes if outcome.steps is not None])
    summaries = [outcome.summary for outcome in outcomes]
    try:
        write_steps_csv(folder / STEPS_CSV, steps)
        write_steps_parquet(folder / STEPS_PARQUET, steps)
        write_runs_csv(folder / RUNS_CSV, summaries)
    except OSError as error:
        raise SessionError(f"{folder}: cannot be written ({error.strerror or error})") from error
    return {
        name: (folder / name).as_posix()
        for name in (STEPS_CSV, STEPS_PARQUET, RUNS_CSV, PROCESS_LOG)
    }


@dataclass(frozen=True)
class ProcessLog:
    """The log of one process: the only output that holds clock times and tracebacks.

    Parameters
    ----------
    folder : Path
        As :func:`prepare_folder` left it.
    """

    folder: Path

    def line(self, text: str) -> None:
        """Add a line with the time of day; further lines of the text are indented."""
        stamp = time.strftime("%Y-%m-%dT%H:%M:%S%z")
        with (self.folder / PROCESS_LOG).open("a", encoding="utf-8") as out:
            out.write(f"{stamp} {text}".replace("\n", "\n    ") + "\n")

    def outcomes(self, outcomes: Sequence[Outcome], seconds: float) -> None:
        """Add what became of one recording and how long it took."""
        for outcome in outcomes:
            summary = outcome.summary
            steps = f"{summary.counts.get('steps', 0)} steps"
            what = f"failed: {summary.reason}" if outcome.failed else steps
            self.line(f"{summary.run} {what}" + ("\n" + outcome.log).rstrip())
        self.line(f"({seconds:.2f} s)")
