"""``imuproc check``: are these logs and sensors fit, before the session and after it?"""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imuproc.cli.exit_codes import ALL_DONE, INTERRUPTED, SOME_FAILED

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imuproc.checks.findings import CheckReport


@dataclass(frozen=True)
class CheckOptions:
    """What a user can ask ``imuproc check`` for."""

    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="SESSION | LOG...",
            help="A session file (TOML); or logs, with --layout.",
            show_default=False,
        ),
    ]
    run: Annotated[
        list[str] | None,
        typer.Option(
            "--run", metavar="ID", help="Only this run; may be given again.", show_default=False
        ),
    ] = None
    layout: Annotated[
        Path | None,
        typer.Option(
            "--layout",
            metavar="FILE",
            help="How the logs are written: a TOML file with one [layout.NAME] table.",
            show_default=False,
        ),
    ] = None
    settings: Annotated[
        Path | None,
        typer.Option(
            "--settings",
            metavar="FILE",
            help="Settings of the method (TOML), as for process.",
            show_default=False,
        ),
    ] = None
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit code 1 also where a sensor is fit with limits.")
    ] = False
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON with every figure instead of the table.")
    ] = False


def check(options: CheckOptions) -> None:
    """Tell whether sensors and logs are fit for use.

    Before a session: let the sensors lie still for a minute (half an hour or more for the drift),
    or have the athlete stand still with them on, log that, and check. After it: check the logs of
    the runs.
    Per sensor: rate, gaps, range, noise, stillness, clock, mounting, and a verdict with reasons.

    Exit code: 0 all fit (limits included), 1 some not fit or not readable, 2 the request is wrong,
    130 interrupted.
    """
    from imuproc.checks.findings import find_worst_verdict

    asked = _plan_checks(options)
    try:
        reports = _check_with_bar(asked)
    except KeyboardInterrupt:
        print("imuproc: interrupted", file=sys.stderr)
        raise typer.Exit(INTERRUPTED) from None
    if options.as_json:
        from imuproc.report.check.machine import check_json

        print(check_json(asked.session, reports))
    else:
        from rich.console import Console

        from imuproc.report.check.table import print_check

        print_check(Console(highlight=False), reports)
    verdict = find_worst_verdict([report.verdict for report in reports])
    good = ("fit",) if options.strict else ("fit", "fit with limits")
    raise typer.Exit(ALL_DONE if verdict in good else SOME_FAILED)


@dataclass(frozen=True)
class _PlannedChecks:
    """Session id (empty for logs alone), and the checks to come with their number."""

    session: str
    count: int
    checks: "Iterator[CheckReport]"


def _check_with_bar(asked: _PlannedChecks) -> "list[CheckReport]":
    """All checks, with a bar on stderr while they are made."""
    from imuproc.cli.bar import show_bar

    reports = []
    with show_bar("Checked", asked.count) as moved:
        for report in asked.checks:
            reports.append(report)
            moved(advance=1)
    return reports


def _plan_checks(options: CheckOptions) -> _PlannedChecks:
    from imuproc.checks.session import check_files, check_session, read_layout
    from imuproc.checks.settings import CheckSettings
    from imuproc.core.errors import SessionError
    from imuproc.pipeline.settings import read_settings
    from imuproc.readers.session import read_session

    settings = CheckSettings(method=read_settings(options.settings))
    sessions = [path for path in options.paths if path.suffix.lower() == ".toml"]
    if options.layout is not None:
        if options.run:
            raise SessionError("found --run with --layout; allowed: --run with a session file")
        if sessions:
            raise SessionError(f"{sessions[0]}: found a TOML file with --layout; allowed: logs")
        layout = read_layout(options.layout)
        return _PlannedChecks("", len(options.paths), check_files(options.paths, layout, settings))
    allowed = "one session file (TOML), or logs with --layout FILE that says how they are written"
    if len(sessions) < len(options.paths):
        log = next(path for path in options.paths if path not in sessions)
        raise SessionError(f"{log}: found a log without --layout; allowed: {allowed}")
    if len(sessions) > 1:
        raise SessionError(f"found {len(sessions)} session files; allowed: {allowed}")
    session = read_session(options.paths[0])
    for run in options.run or ():
        session.build_empty_recording(run)  # an unknown one is told before the work begins
    runs = set(options.run or ()) or {run.id for run in session.runs}
    return _PlannedChecks(
        session.id, len(runs), check_session(session, options.run or (), settings)
    )
