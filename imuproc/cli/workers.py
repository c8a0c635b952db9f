"""How many worker processes a command uses."""

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


def cores() -> int:
    """Cores that this process may use."""
    from joblib import cpu_count

    count: int = cpu_count()
    return max(1, count)
