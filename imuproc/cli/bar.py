"""A bar on stderr while something is worked on, where that is a terminal."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn


def make_bar(what: str, console: Console, hidden: bool) -> Progress:
    """A bar that is not shown yet: what is counted, how many of how many, how long to go."""
    columns = (what, BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    return Progress(*columns, console=console, disable=hidden, transient=True)


@contextmanager
def show_bar(
    what: str, total: int | None = None, quiet: bool = False
) -> Iterator[Callable[..., None]]:
    """Show a bar for as long as the work goes on.

    Parameters
    ----------
    what : str
        What is counted, as ``Runs``.
    total : int, optional
        How many there are, if that is known.
    quiet : bool
        Not even on a terminal.

    Yields
    ------
    callable
        Moves the bar: ``advance=1``, or ``completed`` and ``total``.
    """
    console = Console(stderr=True)
    with make_bar(what, console, quiet or not console.is_terminal) as progress:
        yield partial(progress.update, progress.add_task(what, total=total))
