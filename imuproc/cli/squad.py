"""``imuproc squad``: the runs of all athletes side by side."""

import sys
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Phase(StrEnum):
    """Phases that figures can be asked for."""

    drive = "drive"
    transition = "transition"
    upright = "upright"


@dataclass(frozen=True)
class SquadOptions:
    """What a user can ask ``imuproc squad`` for."""

    out: Annotated[
        Path,
        typer.Argument(
            metavar="OUT",
            help="Output folder of imuproc process, or a session.h5.",
            show_default=False,
        ),
    ]
    athlete: Annotated[
        list[str] | None,
        typer.Option(
            "--athlete",
            metavar="ID",
            help="Only this athlete; may be given again.",
            show_default=False,
        ),
    ] = None
    group: Annotated[
        str | None,
        typer.Option(
            "--group", metavar="NAME", help="Only athletes of this group.", show_default=False
        ),
    ] = None
    phase: Annotated[
        Phase | None,
        typer.Option("--phase", help="Figures over the steps of this phase.", show_default=False),
    ] = None
    sort: Annotated[
        str | None,
        typer.Option(
            "--sort",
            metavar="COLUMN",
            help="speed, contact, freq, length, shin, dorsifl, flags or a column of runs.csv; "
            "-COLUMN from the largest on.",
            show_default=False,
        ),
    ] = None
    descending: Annotated[bool, typer.Option("--descending", help="Sort from the largest on.")] = (
        False
    )
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON with every column instead of the table.")
    ] = False


def squad(options: SquadOptions) -> None:
    """Show the runs of a squad side by side, as imuproc process has left them.

    Per run: top speed, mean figures, left against right where they surely differ, flags; each
    athlete's best and last run are marked. Runs that failed are listed with their reason.

    Exit code: 0 shown, 2 the request is wrong or the results are not whole.
    """
    from imuproc.core.errors import SessionError
    from imuproc.files.text import clean_text
    from imuproc.results.squad import of_athletes, of_group, ordered, squad_runs
    from imuproc.results.squad_tables import read_squad

    if options.descending and options.sort is None:
        raise SessionError("--descending needs --sort COLUMN")
    tables = read_squad(options.out)
    phase = options.phase.value if options.phase else None
    runs = of_athletes(squad_runs(tables, phase), options.athlete or ())
    runs = of_group(runs, options.group)
    if options.sort is not None:
        from imuproc.report.squad_view import HEADINGS

        runs = ordered(runs, options.sort, options.descending, HEADINGS)
    for note in tables.notes:
        print(f"imuproc: {clean_text(note)}", file=sys.stderr)
    if options.as_json:
        from imuproc.report.machine import squad_json

        print(squad_json(runs, phase, tables.notes))
    else:
        from rich.console import Console

        from imuproc.report.squad_view import print_squad

        print_squad(Console(highlight=False), runs, phase, options.sort is not None)
