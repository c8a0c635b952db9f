"""How many worker processes a command is to use."""

from typing import Annotated

import typer

Jobs = Annotated[
    int | None,
    typer.Option(
        "--jobs",
        "-j",
        min=1,
        help="Worker processes; as many as there are cores when left out.",
        show_default=False,
    ),
]
"""Option of a command that can share out its work."""
