"""Jobs of small sessions, and methods that worker processes can load."""

import os
import signal
from collections.abc import Mapping, Sequence
from pathlib import Path

from imuproc.batch.fingerprint import fingerprint, input_digests
from imuproc.batch.outcome import Outcome
from imuproc.batch.plan import plan
from imuproc.batch.session import Request
from imuproc.batch.store import Job, archive_path
from imuproc.batch.work import Method
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from imuproc.readers.session import read_session
from tests.report.fake_result import fake_result

DEADLY = "R07-02"


class Watched:
    """What a user would have seen."""

    def __init__(self) -> None:
        self.counts: tuple[int, int] = (0, 0)
        self.outcomes: list[Outcome] = []

    def planned(self, reused: int, to_do: int) -> None:
        self.counts = (reused, to_do)

    def told(self, outcome: Outcome) -> None:
        self.outcomes.append(outcome)

    def states(self) -> dict[str, str]:
        return {outcome.run: outcome.state for outcome in self.outcomes}


def usual(recording: Recording, _settings: Settings) -> Result:
    """The stand-in of the method: fixed steps."""
    return fake_result(recording)


def deadly(recording: Recording, _settings: Settings) -> Result:
    """One run takes its process with it, as the system does when memory is full."""
    if recording.run.id == DEADLY:
        os.kill(os.getpid(), signal.SIGKILL)
    return fake_result(recording)


def jobs_of(session: Path, out: Path, settings: Settings | None = None) -> list[Job]:
    """A job for each run of a session; their folder is made."""
    settings = settings or Settings()
    (out / "runs").mkdir(parents=True, exist_ok=True)
    made = []
    for task in plan(read_session(session)):
        inputs = input_digests(task)
        path = archive_path(out, task.run.id)
        made.append(Job(task, settings, inputs, fingerprint(inputs, settings), path))
    return made


def request(
    session: Path, method: Method = usual, only: Sequence[str] = (), **more: object
) -> Request:
    """A request to process a session in this process."""
    asked = {"report": False, **more}
    return Request(plan(read_session(session), only), method, Settings(), **asked)  # type: ignore[arg-type]


def contents(out: Path) -> Mapping[str, bytes]:
    """Every file of a folder of results but the log and what killed workers left half-written."""
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file() and path.name != "process.log" and path.suffix != ".part"
    }
