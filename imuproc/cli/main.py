"""The ``imuproc`` command; each sub-command has its own file.

Only what ``--help`` needs is loaded here: every command loads the rest when it runs.
"""

import signal
import sys
from io import TextIOWrapper
from types import FrameType
from typing import Annotated

import typer

from imuproc import __version__
from imuproc.cli.agree import AgreeOptions, agree
from imuproc.cli.check import CheckOptions, check
from imuproc.cli.compare import CompareOptions, compare
from imuproc.cli.convert import ConvertOptions, convert
from imuproc.cli.exit_codes import INTERRUPTED, WRONG_REQUEST
from imuproc.cli.guide import GuideOptions, guide
from imuproc.cli.options import with_options
from imuproc.cli.process import ProcessOptions, process
from imuproc.cli.report import ReportOptions, report
from imuproc.cli.settings import SettingsOptions, settings
from imuproc.cli.simulate import SimulateOptions, simulate
from imuproc.cli.squad import SquadOptions, squad
from imuproc.core.errors import ImuprocError

app = typer.Typer(
    name="imuproc",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # rich would triple the time that --help takes
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("agree")(with_options(agree, AgreeOptions))
app.command("check")(with_options(check, CheckOptions))
app.command("compare")(with_options(compare, CompareOptions))
app.command("convert")(with_options(convert, ConvertOptions))
app.command("guide")(with_options(guide, GuideOptions))
app.command("process")(with_options(process, ProcessOptions))
app.command("report")(with_options(report, ReportOptions))
app.command("settings")(with_options(settings, SettingsOptions))
app.command("simulate")(with_options(simulate, SimulateOptions))
app.command("squad")(with_options(squad, SquadOptions))


def _show_version(wanted: bool) -> None:
    if wanted:
        print(f"imuproc {__version__}")
        raise typer.Exit


@app.callback()
def _take_root_options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Step-by-step figures of sprint running from inertial sensors on shanks and feet.

    Start with: imuproc process SESSION.TOML. To read up on anything: imuproc guide.
    """


def main() -> None:
    """Run the command line; errors are sentences on stderr, and the exit code says the rest.

    Exit codes: 0 all done, 1 some runs failed, 2 the request itself is wrong, 130 interrupted.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ± must not stop us
    stopped = _note_interruption()
    try:
        app(prog_name="imuproc")
    except ImuprocError as error:
        from imuproc.files.text import clean_text

        for line in str(error).splitlines():
            print(f"imuproc: {clean_text(line)}", file=sys.stderr)
        sys.exit(WRONG_REQUEST)
    except (ImportError, AttributeError, KeyboardInterrupt):
        if not stopped:
            raise
        # A library that is stopped while it loads tells of it in other ways.
        print("imuproc: interrupted", file=sys.stderr)
        sys.exit(INTERRUPTED)


def _note_interruption() -> list[int]:
    """A list that is not empty once the user has pressed Ctrl-C, which goes on to work as usual."""
    seen: list[int] = []

    def handle(number: int, frame: FrameType | None) -> None:
        seen.append(number)
        signal.default_int_handler(number, frame)

    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, handle)
    return seen
