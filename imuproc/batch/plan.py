"""Which runs a session has, in which order, and which of them are wanted."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from imuproc.core.errors import SessionError
from imuproc.core.recording import Athlete, Run
from imuproc.readers.session import Session


@dataclass(frozen=True)
class Task:
    """One run to be read and processed, by whatever worker.

    Parameters
    ----------
    session : Session
        The session with this run alone: small enough to be sent to a worker.
    run : Run
    athlete : Athlete
    wanted : bool
        False for a run that was not asked for: its row is in the tables when its archive is there.
    """

    session: Session = field(repr=False)
    run: Run
    athlete: Athlete
    wanted: bool = True


def plan_tasks(session: Session, only: Sequence[str] = ()) -> list[Task]:
    """A task for each run of a session in the order of its file.

    Parameters
    ----------
    session : Session
    only : sequence of str
        Ids of the runs wanted; all when empty.

    Raises
    ------
    SessionError
        A run is wanted that the session does not have.
    """
    known = [run.id for run in session.runs]
    unknown = [run_id for run_id in only if run_id not in known]
    if unknown:
        raise SessionError(
            f"{session.path}: found no run {', '.join(unknown)}; allowed: {', '.join(known)}"
        )
    return [_make_task(session, run, not only or run.id in only) for run in session.runs]


def _make_task(session: Session, run: Run, wanted: bool) -> Task:
    of_run = session.plans[run.id]
    alone = replace(session, athletes=(of_run.athlete,), runs=(run,), plans={run.id: of_run})
    return Task(alone, run, of_run.athlete, wanted)
