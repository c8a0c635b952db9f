"""A line on stderr for each run found in a log of several, from whatever process works on it."""

import os
import sys
from dataclasses import dataclass
from typing import Final

from imuproc.core.words import plural
from imuproc.files.text import clean_text

_OVER_BAR: Final = "\r\x1b[2K"
"""To the line's beginning, and the line cleared: the bar is drawn anew below."""


@dataclass(frozen=True)
class FoundRuns:
    """What is called for such a run; worker processes share stderr with the one that shows a bar.

    Parameters
    ----------
    quiet : bool
        Nothing at all.
    moving : bool
        Whether a bar moves there.
    shown_by : int
        Number of the process that shows it: what that one prints goes above the bar by itself.
    """

    quiet: bool
    moving: bool
    shown_by: int

    def __call__(self, run: str, steps: int) -> None:
        """Print the line."""
        if self.quiet:
            return
        clear = _OVER_BAR if self.moving and os.getpid() != self.shown_by else ""
        line = f"{clear}  {clean_text(run)} done, {plural(steps, 'step')}\n"
        print(line, end="", file=sys.stderr, flush=True)
