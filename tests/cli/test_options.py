from dataclasses import dataclass
from typing import Annotated

import typer
from typer.testing import CliRunner

from imuproc.cli.options import make_command


@dataclass(frozen=True)
class Given:
    name: Annotated[str, typer.Argument(help="Who.")]
    times: Annotated[int, typer.Option("--times", min=1, help="How often.")] = 1


def greet(given: Given) -> None:
    """Say a name."""
    print(given.name * given.times)


def test_the_fields_are_the_options() -> None:
    app = typer.Typer(rich_markup_mode=None)
    app.command()(make_command(greet, Given))
    run = CliRunner().invoke
    assert run(app, ["ab", "--times", "2"]).output == "abab\n"
    assert run(app, ["ab"]).output == "ab\n"
    assert run(app, []).exit_code == 2
    assert run(app, ["ab", "--times", "0"]).exit_code == 2
    told = run(app, ["--help"]).output
    assert "Say a name." in told
    assert "How often." in told
