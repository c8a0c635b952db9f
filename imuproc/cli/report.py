"""``imuproc report``: pages, pictures and spreadsheet remade from the archives."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from imuproc.cli.workers import Jobs


@dataclass(frozen=True)
class ReportOptions:
    """What a user can ask ``imuproc report`` for."""

    out: Annotated[
        Path, typer.Argument(help="Folder that `imuproc process` wrote to.", show_default=False)
    ]
    targets: Annotated[
        Path | None,
        typer.Option("--targets", help="Target sets of your own (TOML).", show_default=False),
    ] = None
    jobs: Jobs = None
    table: Annotated[bool, typer.Option("--table", help="Print the table of each run as well.")] = (
        False
    )
    as_json: Annotated[
        bool, typer.Option("--json", help="Print names and paths of the files as JSON.")
    ] = False


def report(options: ReportOptions) -> None:
    """Make the report anew from the archives; nothing is processed again.

    Writes report/index.html, a page and a picture of each run, and steps.xlsx.

    Exit code: 0 done, 2 the request is wrong.
    """
    from imuproc.batch.pages import remake_report
    from imuproc.core.words import plural
    from imuproc.files.workers import count_cores
    from imuproc.report.pages.writing import INDEX
    from imuproc.results.tables import REPORT_FOLDER

    files = remake_report(options.out, options.targets, options.jobs or count_cores())
    if options.as_json:
        import json

        print(json.dumps(files, indent=2))
        return
    if options.table:
        _print_tables(options)
    pages = sum(name.endswith(".html") for name in files) - 1
    sys.stdout.write(f"Written: {plural(pages, 'page')} of runs, pictures and steps.xlsx\n")
    sys.stdout.write(f"Open: {files[f'{REPORT_FOLDER}/{INDEX}']}\n")


def _print_tables(options: ReportOptions) -> None:
    """Print the runs as ``imuproc process`` does."""
    from rich.console import Console

    from imuproc.report.pages.writing import run_views
    from imuproc.report.terminal import print_closing, print_run

    console = Console(highlight=False)
    summaries = []
    for view in run_views(options.out, options.targets):
        print_run(console, view.summary, None if view.failed else view.steps)
        summaries.append(view.summary)
    print_closing(console, summaries)
