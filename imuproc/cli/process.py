"""``imuproc process``: session file and logs in, step table out."""

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imuproc.cli.exit_codes import ALL_DONE, INTERRUPTED, SOME_FAILED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imuproc.batch.plan import Task
    from imuproc.batch.session import Processed
    from imuproc.batch.work import Method


def process(
    session: Annotated[Path, typer.Argument(help="Session file (TOML).", show_default=False)],
    out: Annotated[
        Path, typer.Option("--out", "-o", help="Folder for the results; made when needed.")
    ] = Path("out"),
    settings: Annotated[
        Path | None,
        typer.Option("--settings", help="Settings of the method (TOML).", show_default=False),
    ] = None,
    run: Annotated[
        list[str] | None,
        typer.Option(
            "--run", metavar="ID", help="Only this run; may be given again.", show_default=False
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON instead of tables.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only what failed.")] = False,
) -> None:
    """Work out the step table of a session.

    Writes steps.csv, steps.parquet and runs.csv and prints a table of each run.

    Exit code: 0 all runs done, 1 some runs failed (named), 2 the request is wrong.
    """
    from imuproc.batch.folder import prepare_folder
    from imuproc.batch.plan import plan
    from imuproc.readers.session import read_session

    tasks = plan(read_session(session), run or ())
    method = _method(settings)
    prepare_folder(out, tasks)
    processed = _with_progress(tasks, method, out, show=not quiet)
    _print(processed, tasks, as_json, quiet)
    _complain(processed, len(tasks))
    if processed.interrupted:
        raise typer.Exit(INTERRUPTED)
    failed = any(outcome.failed for outcome in processed.outcomes)
    raise typer.Exit(SOME_FAILED if failed else ALL_DONE)


def _method(settings: Path | None) -> "Method":
    from imuproc.pipeline.run import process as process_recording
    from imuproc.pipeline.settings import read_settings

    return partial(process_recording, settings=read_settings(settings) if settings else None)


def _with_progress(tasks: "Sequence[Task]", method: "Method", out: Path, show: bool) -> "Processed":
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    from imuproc.batch.session import process_tasks

    console = Console(stderr=True)
    columns = ("Runs", BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    disable = not (show and console.is_terminal)
    with Progress(*columns, console=console, disable=disable, transient=True) as progress:
        bar = progress.add_task("runs", total=len(tasks))
        return process_tasks(tasks, method, out, lambda: progress.advance(bar))


def _print(processed: "Processed", tasks: "Sequence[Task]", as_json: bool, quiet: bool) -> None:
    """Print the summary in the form that was asked for, on stdout."""
    summaries = [outcome.summary for outcome in processed.outcomes]
    if as_json:
        from imuproc.report.machine import summary_json

        print(summary_json(tasks[0].session.id if tasks else "", summaries, processed.files))
    elif not quiet:
        from rich.console import Console
        from rich.text import Text

        from imuproc.report.terminal import print_closing, print_run

        console = Console(highlight=False)
        for outcome in processed.outcomes:
            print_run(console, outcome.summary, outcome.steps)
        print_closing(console, summaries)
        for path in processed.files.values():
            console.print(Text(f"Written: {path}"), soft_wrap=True)  # a path stays in one piece


def _complain(processed: "Processed", asked: int) -> None:
    """Name what failed, on stderr, whatever else is printed."""
    from imuproc.report.text import clean

    for outcome in processed.outcomes:
        if outcome.failed:
            summary = outcome.summary
            print(f"imuproc: run {clean(summary.run)} failed: {summary.reason}", file=sys.stderr)
    if processed.interrupted:
        done = processed.tasks_done
        print(f"imuproc: interrupted; {done} of {asked} runs are written", file=sys.stderr)
