"""Work as it goes on, on stderr: a bar on a terminal, and a line for each run."""

import os

from rich.console import Console
from rich.text import Text

from imuproc.batch.outcome import Outcome
from imuproc.cli.bar import make_bar
from imuproc.cli.found_runs import FoundRuns
from imuproc.core.words import format_count
from imuproc.files.text import clean_text

_STYLES = {"done": "", "reused": "dim", "failed": "red"}


class Shown:
    """What a user sees of work under way; use it as a context manager.

    Parameters
    ----------
    quiet : bool
        Nothing at all.
    """

    def __init__(self, quiet: bool) -> None:
        self._console = Console(stderr=True, highlight=False, quiet=quiet)
        self._moving = self._console.is_terminal and not quiet
        self._bar = make_bar("Runs", self._console, hidden=not self._moving)
        self._task = self._bar.add_task("runs", total=None)
        self._done = self._total = 0
        self.tell = FoundRuns(quiet, self._moving, os.getpid())

    def __enter__(self) -> "Shown":
        if self._moving:
            self._bar.start()
        return self

    def __exit__(self, *_error: object) -> None:
        if self._moving:
            self._bar.stop()

    def tell_plan(self, reused: int, to_do: int) -> None:
        """How many runs are there already, and how many are to be worked on."""
        self._total = to_do
        self._bar.update(self._task, total=to_do)
        if reused:
            them = "it" if reused == 1 else "them"
            self._print_line(
                f"{format_count(reused, 'run')} reused: nothing about {them} has changed", "dim"
            )

    def tell_run(self, outcome: Outcome) -> None:
        """A line for a run that was worked on."""
        self._done += 1
        what: str = outcome.state
        if outcome.state == "done":
            what += f", {format_count(outcome.steps, 'step')}"
        count = f"{self._done:{len(str(self._total))}d}/{self._total}"
        line = f"{count} {clean_text(outcome.run)} {what}, {outcome.seconds:.1f} s"
        self._print_line(line, _STYLES[outcome.state])
        self._bar.advance(self._task)

    def _print_line(self, line: str, style: str) -> None:
        self._console.print(Text(line, style=style), soft_wrap=True)
