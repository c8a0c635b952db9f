"""The check of every run of a session file, and of logs that no session file names yet."""

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Final

from pydantic import Field, ValidationError

from imuproc.checks.findings import CheckReport
from imuproc.checks.recording import LogToCheck, check_sensor_logs
from imuproc.checks.settings import CheckSettings
from imuproc.core.errors import SessionError
from imuproc.core.recording import Athlete, Recording, Run
from imuproc.files.toml_reading import Table, load_toml, make_session_error, to_problems
from imuproc.files.wording import quote_all
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import stream_log
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.session import Session

UNNAMED: Final = "pelvis"
"""Site that stands for a log of unknown place: nothing is asked of it that a leg's sensor needs."""


class _LayoutFile(Table):
    layout: dict[str, Layout] = Field(
        min_length=1, description="at least one table [layout.<name>]"
    )


def check_session(
    session: Session, runs: Sequence[str] = (), settings: CheckSettings | None = None
) -> Iterator[CheckReport]:
    """Check the logs of a session, run after run.

    Parameters
    ----------
    session : Session
    runs : sequence of str
        Ids of the runs to check; all of them when empty.
    settings : CheckSettings, optional

    Yields
    ------
    CheckReport
        In the order of the file; a log that cannot be read is a reason in its run's report.

    Raises
    ------
    SessionError
        If the session has no such run.
    """
    settings = settings or CheckSettings()
    asked = {
        run: session.build_empty_recording(run) for run in runs or [run.id for run in session.runs]
    }
    for run in session.runs:
        if run.id in asked:
            logs = [
                _make_log_to_check(request, settings) for request in session.list_requests(run.id)
            ]
            yield check_sensor_logs(asked[run.id], logs, settings)


def check_files(
    paths: Iterable[Path], layout: Layout, settings: CheckSettings | None = None
) -> Iterator[CheckReport]:
    """Check logs that no session file names yet, each by itself.

    Parameters
    ----------
    paths : iterable of Path
    layout : Layout
        How all of them are written.
    settings : CheckSettings, optional

    Yields
    ------
    CheckReport
        One for each file, with the file's name for a run.
    """
    settings = settings or CheckSettings()
    for path in paths:
        request = LogRequest(UNNAMED, path, str(path), layout)
        about = Recording("", Athlete(""), Run(str(path)), logs={})
        yield check_sensor_logs(about, [_make_log_to_check(request, settings)], settings)


def read_layout(path: Path) -> Layout:
    """The one layout of a layout file or a session file.

    Parameters
    ----------
    path : Path
        TOML with one table ``[layout.<name>]``; what else it holds does not matter.

    Returns
    -------
    Layout

    Raises
    ------
    SessionError
        If the file cannot be read, or holds no layout, a wrong one, or several.
    """
    content = load_toml(path)
    layouts = {key: value for key, value in content.items() if key == "layout"}
    try:
        found = _LayoutFile.model_validate(layouts).layout
    except ValidationError as error:
        raise make_session_error(path, to_problems(error, _LayoutFile), content) from error
    if len(found) > 1:
        raise SessionError(
            f"{path}: found {len(found)} layouts ({quote_all(found)}); allowed: one, so that it is "
            "clear which one the logs have"
        )
    return next(iter(found.values()))


def _make_log_to_check(request: LogRequest, settings: CheckSettings) -> LogToCheck:
    return LogToCheck(
        site=request.site,
        source=request.source,
        pieces=partial(stream_log, request, settings.piece_samples),
        stated_rate_hz=request.layout.rate_hz,
    )
