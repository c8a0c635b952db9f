"""``imuproc compare``: two runs side by side."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer


@dataclass(frozen=True)
class CompareOptions:
    """What a user can ask ``imuproc compare`` for."""

    out: Annotated[
        Path,
        typer.Argument(metavar="OUT", help="Output folder of imuproc process.", show_default=False),
    ]
    first: Annotated[str, typer.Argument(metavar="RUN", help="First run.", show_default=False)]
    second: Annotated[str, typer.Argument(metavar="RUN", help="Second run.", show_default=False)]
    targets: Annotated[
        Path | None,
        typer.Option("--targets", help="Target sets of your own (TOML).", show_default=False),
    ] = None


def compare(options: CompareOptions) -> None:
    """Hold two runs against each other, of one athlete or two: phase by phase, step by step.

    Prints the means of each phase with the difference, second minus first, and writes a page with
    both runs into OUT/report. A * marks what surely differs: by more than twice its uncertainty.

    Exit code: 0 compared, 2 there is no such run or the results are not whole.
    """
    from rich.console import Console

    from imuproc.report.pages.writing import two_views, write_comparison
    from imuproc.report.two_runs_view import print_two_runs

    first, second = two_views(options.out, (options.first, options.second), options.targets)
    path = write_comparison(options.out, first, second)
    print_two_runs(Console(highlight=False), first, second)
    print(f"Written: {path.as_posix()}")
