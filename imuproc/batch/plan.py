"""Which runs of a session are to be processed, in which order."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from imuproc.core.errors import SessionError
from imuproc.core.recording import Athlete, Run
from imuproc.readers.session import Session


@dataclass(frozen=True)
class Task:
    """One run to be read and processed, by whatever worker.

    Parameters
    ----------
    session : Session
    run : Run
    athlete : Athlete
    """

    session: Session = field(repr=False)
    run: Run
    athlete: Athlete


def plan(session: Session, only: Sequence[str] = ()) -> list[Task]:
    """Tasks for the runs of a session in the order of its file.

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
    return [
        Task(session, run, session.athlete_of(run.id))
        for run in session.runs
        if not only or run.id in only
    ]
