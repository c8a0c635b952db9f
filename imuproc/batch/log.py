"""The log of the process: the only output that holds clock times and tracebacks."""

import time
from pathlib import Path
from typing import Final

from imuproc.batch.outcome import Outcome

PROCESS_LOG: Final = "process.log"


class ProcessLog:
    """Lines with their time of day, added to those of earlier processes.

    A log that cannot be written stops no work: ``fault`` keeps the first error.

    Parameters
    ----------
    folder : Path
        As :func:`imuproc.batch.folder.hold_output_folder` gives it.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / PROCESS_LOG
        self.fault: OSError | None = None

    def add_line(self, text: str) -> None:
        """Add a line with the time of day; further lines of the text are indented."""
        stamp = time.strftime("%Y-%m-%dT%H:%M:%S%z")
        try:
            with self.path.open("a", encoding="utf-8", errors="replace") as out:
                out.write(f"{stamp} {text}".replace("\n", "\n    ") + "\n")
        except OSError as error:
            self.fault = self.fault or error

    def add_outcome(self, outcome: Outcome) -> None:
        """Add what became of one recording and how long it took."""
        what = f"{outcome.steps} steps" if outcome.state == "done" else outcome.state
        if outcome.state == "failed":
            what = f"failed: {outcome.reason}"
        self.add_line(f"{outcome.run} {what} ({outcome.seconds:.2f} s)\n{outcome.log}".rstrip())
