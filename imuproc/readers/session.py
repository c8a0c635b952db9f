"""The session file, and the recordings that it names."""

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path

from imuproc.core.errors import SessionError
from imuproc.core.gravity import compute_gravity_mps2
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import Athlete, Recording, Run, Surface
from imuproc.core.sites import Site
from imuproc.files.toml_reading import load_toml, make_session_error, validate_file
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.logs.registry import read_log
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.session_checks import build_log_requests, find_cross_problems
from imuproc.readers.session_model import SCHEMA, AthleteEntry, SessionEntry, SessionFile


@dataclass(frozen=True)
class RunPlan:
    """A run, who ran it, and the logs to read for it in the order of the file."""

    run: Run
    athlete: Athlete
    logs: tuple[LogRequest, ...]


@dataclass(frozen=True, eq=False)
class Session:
    """A session file that has been checked; its logs are read when asked for.

    Parameters
    ----------
    path : Path
        The session file as it was given.
    id : str
    date : datetime.date
    surface : Surface
    latitude_deg : float or None
        In deg.
    note : str or None
        Free text of the user.
    gravity_mps2 : float
        Local gravity in m/s² (WGS84), standard gravity where the latitude is not stated.
    athletes : tuple of Athlete
    runs : tuple of Run
        In the order of the file.
    plans : mapping from run id to RunPlan
        What :meth:`read_run` reads.
    """

    path: Path
    id: str
    date: datetime.date
    surface: Surface
    latitude_deg: float | None
    note: str | None
    gravity_mps2: float
    athletes: tuple[Athlete, ...]
    runs: tuple[Run, ...]
    plans: Mapping[str, RunPlan] = field(repr=False)

    def recordings(self) -> Iterator[Recording]:
        """Read run after run, each when it is asked for.

        Yields
        ------
        Recording

        Raises
        ------
        LogError
            A log cannot be read. The iteration ends there: to go on with the other runs, loop
            over ``runs`` and call :meth:`read_run`.
        """
        for run in self.runs:
            yield self.read_run(run.id)

    def read_run(self, run_id: str) -> Recording:
        """Read the logs of one run.

        Parameters
        ----------
        run_id : str

        Returns
        -------
        Recording
            SI units, sensor axes, each log's own stamps; nothing is corrected yet.

        Raises
        ------
        SessionError
            The session has no such run.
        LogError
            One of the run's logs cannot be read; the other runs are not concerned.
        """
        logs = {request.site: read_log(request) for request in self._find_plan(run_id).logs}
        return replace(self.build_empty_recording(run_id), logs=logs)

    def build_empty_recording(self, run_id: str) -> Recording:
        """The recording of a run without its logs; SessionError where there is no such run."""
        plan = self._find_plan(run_id)
        files = {request.site: request.source for request in plan.logs}
        return Recording(
            session=self.id,
            athlete=plan.athlete,
            run=plan.run,
            logs={},
            gravity_mps2=self.gravity_mps2,
            history=(HistoryEntry("readers.session", "Logs were read.", {"files": files}),),
        )

    def list_requests(self, run_id: str) -> tuple[LogRequest, ...]:
        """What to read for a run, in the order of the file, for logs read piece by piece.

        Raises
        ------
        SessionError
            The session has no such run.
        """
        return self._find_plan(run_id).logs

    def athlete_of(self, run_id: str) -> Athlete:
        """Who ran a run; SessionError where the session has no such run."""
        return self._find_plan(run_id).athlete

    def log_paths(self, run_id: str) -> dict[Site, Path]:
        """Log files of a run, links resolved; SessionError where there is no such run."""
        return {request.site: request.path for request in self._find_plan(run_id).logs}

    def _find_plan(self, run_id: str) -> RunPlan:
        if run_id not in self.plans:
            raise SessionError(
                f"{self.path}: found no run {quote(run_id)}; allowed: {quote_all(self.plans)}"
                f"{suggest_word(run_id, self.plans)}"
            )
        return self.plans[run_id]


def read_session(path: str | PathLike[str]) -> Session:
    """Read and check a session file; logs are not opened yet.

    Parameters
    ----------
    path : str or path
        A TOML file, UTF-8.

    Returns
    -------
    Session

    Raises
    ------
    SessionError
        The file cannot be read or says something that is not allowed. The text has a line for
        each problem: file, key (lists count from 1), what was found, what is allowed.

    See Also
    --------
    imuproc.process : what to do with its recordings.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> [run.id for run in session.runs][:3]
    ['R07-01', 'R07-02', 'R07-03']
    """
    path = Path(path)
    content = load_toml(path)
    file = validate_file(path, content, SCHEMA, SessionFile)
    problems = find_cross_problems(file)
    if problems:
        raise make_session_error(path, problems, content)
    folder = path.parent.resolve()
    checked = [build_log_requests(file, index, folder) for index in range(len(file.run))]
    problems = [one for _, found_here in checked for one in found_here]
    if problems:
        raise make_session_error(path, problems, content)
    return _build_session(path, file, [requests for requests, _ in checked])


def _build_session(
    path: Path, file: SessionFile, requests: list[tuple[LogRequest, ...]]
) -> Session:
    athletes = {entry.id: _build_athlete(entry, file.session) for entry in file.athlete}
    plans = {}
    for entry, logs in zip(file.run, requests, strict=True):
        run = Run(
            id=entry.id,
            start=entry.start,
            distance_m=entry.distance_m,
            clock=entry.clock,
            surface=file.session.surface,
            belt_speed_mps=entry.belt_speed_mps,
            curve_radius_m=entry.curve_radius_m,
            note=entry.note,
        )
        plans[entry.id] = RunPlan(run, athletes[entry.athlete], logs)
    return Session(
        path=path,
        id=file.session.id,
        date=file.session.date,
        surface=file.session.surface,
        latitude_deg=file.session.latitude_deg,
        note=file.session.note,
        gravity_mps2=compute_gravity_mps2(file.session.latitude_deg),
        athletes=tuple(athletes.values()),
        runs=tuple(plan.run for plan in plans.values()),
        plans=plans,
    )


def _build_athlete(entry: AthleteEntry, session: SessionEntry) -> Athlete:
    """An athlete, whose lean in standing is the session's where none of its own is stated."""
    fields = entry.model_dump()
    if entry.standing_lean_deg is None:
        fields["standing_lean_deg"] = session.standing_lean_deg
    return Athlete(**fields)
