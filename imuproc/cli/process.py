"""``imuproc process``: session file and logs in, step table out."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imuproc.cli.exit_codes import ALL_DONE, INTERRUPTED, SOME_FAILED
from imuproc.cli.workers import Jobs

if TYPE_CHECKING:
    from imuproc.batch.processed import Processed

_MOST_TABLES_COUNT = 20
"""Of more runs than this no step tables are printed: nobody reads a squad's that way."""


@dataclass(frozen=True)
class ProcessOptions:
    """What a user can ask ``imuproc process`` for."""

    session: Annotated[Path, typer.Argument(help="Session file (TOML).", show_default=False)]
    out: Annotated[
        Path, typer.Option("--out", "-o", help="Folder for the results; made when needed.")
    ] = Path("out")
    settings: Annotated[
        Path | None,
        typer.Option("--settings", help="Settings of the method (TOML).", show_default=False),
    ] = None
    run: Annotated[
        list[str] | None,
        typer.Option(
            "--run", metavar="ID", help="Only this run; may be given again.", show_default=False
        ),
    ] = None
    again: Annotated[
        bool, typer.Option("--again", help="Process also what is there and has not changed.")
    ] = False
    jobs: Jobs = None
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Work on this Dask scheduler, as tcp://HOST:8786.",
            show_default=False,
        ),
    ] = None
    targets: Annotated[
        Path | None,
        typer.Option("--targets", help="Target sets of your own (TOML).", show_default=False),
    ] = None
    no_report: Annotated[
        bool, typer.Option("--no-report", help="Tables and archives only, no pages.")
    ] = False
    strict: Annotated[
        bool,
        typer.Option(
            "--strict", help="Count a run with a serious flag as failed, without figures."
        ),
    ] = False
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON instead of tables.")
    ] = False
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only what failed.")] = False


def process(options: ProcessOptions) -> None:
    """Work out the step table of a session.

    Writes tables of steps, runs and phases, archives and the report for people, and prints a
    table of each run. A run whose logs, entry and settings are those of the last time is not
    processed again. With --strict a serious flag on a run or one of its sensors is a reason to
    fail the run: it keeps its row, and its figures are in no table.

    Exit code: 0 all runs done, 1 some runs failed (named), 2 the request is wrong, 130 interrupted.
    """
    processed = _process_with_bar(options)
    _print_summary(processed, options)
    _print_failures(processed)
    if processed.interrupted:
        raise typer.Exit(INTERRUPTED)
    raise typer.Exit(SOME_FAILED if processed.failed else ALL_DONE)


def _process_with_bar(options: ProcessOptions) -> "Processed":
    from imuproc.batch.process import SessionInterrupted, SessionOptions, process_session
    from imuproc.cli.progress import Shown

    asked = SessionOptions(
        settings=options.settings,
        runs=options.run or (),
        again=options.again,
        jobs=options.jobs,
        cluster=options.cluster,
        targets=options.targets,
        report=not options.no_report,
        strict=options.strict,
    )
    try:
        with Shown(options.quiet) as shown:
            return process_session(options.session, options.out, asked, shown)
    except SessionInterrupted as stopped:
        return stopped.processed
    except KeyboardInterrupt:
        print("imuproc: interrupted; finished runs are kept", file=sys.stderr)
        raise typer.Exit(INTERRUPTED) from None


def _print_summary(processed: "Processed", options: ProcessOptions) -> None:
    """Print the summary in the form that was asked for, on stdout."""
    summaries = processed.summaries
    if options.as_json:
        from imuproc.report.machine import summary_json

        print(summary_json(processed.session, summaries, processed.files))
    elif not options.quiet:
        from rich.console import Console
        from rich.text import Text

        from imuproc.report.terminal import print_closing, print_run

        console = Console(highlight=False)
        for row in processed.rows if len(summaries) <= _MOST_TABLES_COUNT else ():
            print_run(console, row.summary, row.steps)
        print_closing(console, summaries)
        if len(summaries) > _MOST_TABLES_COUNT:
            console.print(Text(f"All runs side by side: imuproc squad {options.out}"))
        for name, path in processed.files.items():
            if "/" not in name or name == "report/index.html":  # not a line for every page
                console.print(Text(f"Written: {path}"), soft_wrap=True)  # a path in one piece


def _print_failures(processed: "Processed") -> None:
    """Name what failed, on stderr, whatever else is printed."""
    from imuproc.files.text import clean_text

    for run, why in processed.failed.items():
        reason = clean_text(why).removeprefix(f"run {run}: ")  # some say it themselves
        print(f"imuproc: run {clean_text(run)} failed: {reason}", file=sys.stderr)
    for complaint in processed.complaints:
        print(f"imuproc: {clean_text(complaint)}", file=sys.stderr)
    if processed.interrupted:
        done, asked = len(processed.outcomes), processed.asked
        print(f"imuproc: interrupted; {done} of {asked} runs are written", file=sys.stderr)
