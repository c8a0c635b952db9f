"""Jobs of small sessions, and methods that worker processes can load."""

import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from imuproc.batch.fingerprint import compute_fingerprint, hash_inputs
from imuproc.batch.outcome import Outcome
from imuproc.batch.plan import plan_tasks
from imuproc.batch.session import Request
from imuproc.batch.store import Job
from imuproc.batch.work import Method
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import LogSource
from imuproc.pipeline.windows import read_short
from imuproc.readers.session import read_session
from imuproc.results.folder import archive_path
from tests.report.fake_result import fake_result

DEADLY = "R07-02"


def unheard(_run: str, _steps: int) -> None:
    """Nobody listens."""


class Watched:
    """What a user would have seen."""

    def __init__(self) -> None:
        self.counts: tuple[int, int] = (0, 0)
        self.outcomes: list[Outcome] = []
        self.tell = unheard

    def tell_plan(self, reused: int, to_do: int) -> None:
        self.counts = (reused, to_do)

    def tell_run(self, outcome: Outcome) -> None:
        self.outcomes.append(outcome)

    def states(self) -> dict[str, str]:
        return {outcome.run: outcome.state for outcome in self.outcomes}


def read(source: LogSource, settings: Settings) -> Recording:
    """The recording of a short log."""
    recording = read_short(source, settings.long)
    assert recording is not None
    return recording


def by_recording(method: Callable[[Recording, Settings], Result]) -> Method:
    """A method that wants the whole recording, as one that takes logs."""

    def taking_logs(source: LogSource, settings: Settings) -> Iterator[Result]:
        yield method(read(source, settings), settings)

    return taking_logs


def usual(source: LogSource, settings: Settings) -> Iterator[Result]:
    """The stand-in of the method: fixed steps."""
    yield fake_result(read(source, settings))


def several(source: LogSource, settings: Settings) -> Iterator[Result]:
    """Two runs in each log."""
    result = fake_result(read(source, settings))
    for run in (f"{result.run}_1", f"{result.run}_2"):
        yield replace(result, run=run, steps=result.steps.assign(run=run), distances={})


def deadly(source: LogSource, settings: Settings) -> Iterator[Result]:
    """One run takes its process with it, as the system does when memory is full."""
    if source.about.run.id == DEADLY:
        os.kill(os.getpid(), signal.SIGKILL)
    yield fake_result(read(source, settings))


def jobs_of(session: Path, out: Path, settings: Settings | None = None) -> list[Job]:
    """A job for each run of a session; their folder is made."""
    settings = settings or Settings()
    (out / "runs").mkdir(parents=True, exist_ok=True)
    made = []
    for task in plan_tasks(read_session(session)):
        inputs = hash_inputs(task)
        path = archive_path(out, task.run.id)
        made.append(Job(task, settings, inputs, compute_fingerprint(inputs, settings), path))
    return made


def request(
    session: Path, method: Method = usual, only: Sequence[str] = (), **more: object
) -> Request:
    """A request to process a session in this process."""
    asked = {"report": False, **more}
    return Request(plan_tasks(read_session(session), only), method, Settings(), **asked)  # type: ignore[arg-type]


def contents(out: Path) -> Mapping[str, bytes]:
    """Every file of a folder of results but the log and what killed workers left half-written."""
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file() and path.name != "process.log" and path.suffix != ".part"
    }
