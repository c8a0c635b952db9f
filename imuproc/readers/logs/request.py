"""What a reader is asked for, and what every reader is."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from imuproc.core.recording import SensorLog
from imuproc.core.sites import Site
from imuproc.readers.logs.layout import Layout


@dataclass(frozen=True)
class LogRequest:
    """One sensor's log to read.

    Parameters
    ----------
    site : Site
        Where the sensor sat.
    path : Path
        The file, links resolved.
    source : str
        The path as the session file names it.
    layout : Layout
        How the log is written.
    select : str or None
        Which sensor, where the file holds several.
    """

    site: Site
    path: Path
    source: str
    layout: Layout
    select: str | None = None


class LogReader(Protocol):
    """A module that reads one format."""

    def can_read(self, path: Path) -> bool:
        """Whether the beginning of a file looks like this format; never raises LogError."""

    def stream(self, request: LogRequest, rows: int) -> Iterator[SensorLog]:
        """Read one sensor's log piece after piece, ``rows`` samples in each but the last.

        The pieces hold the same bits whatever ``rows`` is. Where the format allows it, no more
        than a piece and a block of the file is in memory. Of a file that breaks off the samples
        before are given, none of them a guess, and ``cut_short`` of the last piece says where.

        Raises
        ------
        LogError
            The log cannot be read; the text leaves the file's name to the registry.
        """
