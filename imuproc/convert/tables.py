"""What the forms with a file for each log and nothing else have in common."""

from collections.abc import Iterable
from typing import Final

from imuproc.convert.form import Target
from imuproc.readers.session import Session

LOGS: Final = "logs"
AXES: Final = ("x", "y", "z")


def list_log_targets(session: Session, runs: Iterable[str], ending: str) -> list[Target]:
    """A file under ``logs/`` for each log, named by run and site."""
    return [
        Target(
            session.plans[run].run,
            session.athlete_of(run).id,
            request.site,
            f"{LOGS}/{run}_{request.site}{ending}",
        )
        for run in runs
        for request in session.list_requests(run)
    ]
