"""``imuproc convert``: a session's logs in an open format."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imuproc.cli.exit_codes import ALL_DONE, INTERRUPTED, SOME_FAILED
from imuproc.core.errors import SessionError

if TYPE_CHECKING:
    from imuproc.convert.work import Converted


@dataclass(frozen=True)
class ConvertOptions:
    """What a user can ask ``imuproc convert`` for."""

    session: Annotated[Path, typer.Argument(help="Session file (TOML).", show_default=False)]
    out: Annotated[
        Path,
        typer.Option(
            "--out",
            "-o",
            help="Folder for the session: new, empty, or of an earlier conversion, which is "
            "replaced.",
            show_default=False,
        ),
    ]
    to: Annotated[
        str, typer.Option("--to", help="bids-motion, hdf5 or parquet.", show_default=False)
    ]
    run: Annotated[
        list[str] | None,
        typer.Option(
            "--run", metavar="ID", help="Only this run; may be given again.", show_default=False
        ),
    ] = None
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only what failed.")] = False


def convert(options: ConvertOptions) -> None:
    """Write the logs of a session in an open format.

    Any format that imuproc reads goes in; SI units, the loggers' own stamps, ranges and times of
    day come out, with a session.toml beside them that `imuproc process` takes. Nothing is
    resampled or corrected.

    Exit code: 0 all logs done, 1 some could not be read (named), 2 the request is wrong, 130
    interrupted.
    """
    try:
        converted = _convert_with_bar(options)
    except KeyboardInterrupt:
        print(
            f"imuproc: interrupted; {options.out} is not a whole session, run the same command "
            "again to make it one",
            file=sys.stderr,
        )
        raise typer.Exit(INTERRUPTED) from None
    _print_result(converted, options)
    raise typer.Exit(SOME_FAILED if converted.failures else ALL_DONE)


def _convert_with_bar(options: ConvertOptions) -> "Converted":
    from imuproc.cli.bar import counted
    from imuproc.convert.work import convert as convert_session
    from imuproc.files.disk_errors import describe_write_error
    from imuproc.readers.session import read_session

    session = read_session(options.session)
    try:
        with counted("Logs", quiet=options.quiet) as moved:
            return convert_session(
                session,
                options.to,
                options.out,
                options.run or (),
                lambda done, total: moved(completed=done, total=total),
            )
    except OSError as error:
        raise SessionError(
            describe_write_error(error.filename or options.out, error, "")
        ) from error


def _print_result(converted: "Converted", options: ConvertOptions) -> None:
    from imuproc.core.words import plural
    from imuproc.files.text import clean_text

    for failure in converted.failures:
        run, reason = clean_text(failure.run), clean_text(failure.reason).rstrip(".")
        print(f"imuproc: run {run}: {reason}; its log is left out", file=sys.stderr)
    for cut in converted.cut_short:
        told = f"{clean_text(cut.run)}: the log of {cut.site.replace('_', ' ')} is cut short"
        print(
            f"imuproc: run {told}: {clean_text(cut.text)}; it is converted as far as it goes, and "
            "the new log does not tell",
            file=sys.stderr,
        )
    if not options.quiet:
        logs = plural(converted.logs, "log")
        print(f"imuproc: {logs} written, {len(converted.failures)} failed", file=sys.stderr)
    if converted.session is not None and not options.quiet:
        print(f"Written: {converted.session}")
