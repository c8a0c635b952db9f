"""``imuproc agree``: step tables held against video, force plates or photocells."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imuproc.cli.exit_codes import ALL_DONE, INTERRUPTED, SOME_FAILED

if TYPE_CHECKING:
    from imuproc.batch.agreement import Agreed
    from imuproc.readers.study import Study


@dataclass(frozen=True)
class AgreeOptions:
    """What a user can ask ``imuproc agree`` for."""

    study: Annotated[Path, typer.Argument(help="Study file (TOML).", show_default=False)]
    out: Annotated[
        Path, typer.Option("--out", "-o", help="Folder for the agreement; made when needed.")
    ] = Path("agreement")
    as_json: Annotated[
        bool, typer.Option("--json", help="Print every table but the pairs as JSON.")
    ] = False
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only what failed.")] = False


def agree(options: AgreeOptions) -> None:
    """Hold step tables against a reference: how far do they agree?

    The study file names runs that imuproc process has worked on, and for each a reference: contacts
    by video frame or time (CSV), photocells, C3D, BIDS events. Writes agreement.html (tables,
    pictures, paragraphs for a paper), agreement.csv and .json, pairs.csv, detection.csv, clocks.csv
    and exclusions.csv, in which everything stands that was not used, and why.

    For one run and a phone's camera: note side, the first frame with the foot on the ground and the
    first frame with it off again, a line for each contact, in a CSV with a header such as
    side,touchdown,toe_off; give its frame rate (frames taken per second) in the layout.

    Exit code: 0 all runs compared, 1 some could not be (named), 2 the request is wrong,
    130 interrupted.
    """
    from imuproc.readers.study import read_study

    study = read_study(options.study)
    try:
        agreed = _run_with_bar(study, options)
    except KeyboardInterrupt:
        print("imuproc: interrupted", file=sys.stderr)
        raise typer.Exit(INTERRUPTED) from None
    _print_agreement(agreed, options)
    _print_failures(agreed)
    raise typer.Exit(SOME_FAILED if agreed.result.failed else ALL_DONE)


def _run_with_bar(study: "Study", options: AgreeOptions) -> "Agreed":
    """The whole study, with a bar on stderr while its runs are compared."""
    from imuproc.batch.agreement import run_study as agree_study
    from imuproc.cli.bar import show_bar

    with show_bar("Runs compared", len(study.runs), options.quiet) as moved:
        return agree_study(study, options.out, lambda _run: moved(advance=1))


def _print_agreement(agreed: "Agreed", options: AgreeOptions) -> None:
    if options.as_json:
        from imuproc.report.agreement.tables import study_json

        print(study_json(agreed.result, agreed.files))
        return
    if options.quiet:
        return
    from textwrap import fill

    from imuproc.core.words import format_count
    from imuproc.report.agreement.brief import write_brief

    for sentence in write_brief(agreed.result):
        print(fill(sentence, 80, subsequent_indent="  "))
    left_out = len(agreed.result.exclusions)
    if left_out:
        print(f"Not used, and why: exclusions.csv ({format_count(left_out, 'row')})")
    for name, path in agreed.files.items():
        if "/" not in name and name.endswith((".html", ".txt", "agreement.csv", "pairs.csv")):
            print(f"Written: {path}")


def _print_failures(agreed: "Agreed") -> None:
    """Name what could not be compared, on stderr, whatever else is printed."""
    from imuproc.files.text import clean_text

    for one in agreed.result.failed:
        print(
            f"imuproc: run {one.asked.id} not compared: {clean_text(one.reason)}", file=sys.stderr
        )
