"""Logs of a recording that can be read again and again, piece by piece."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Protocol

from imuproc.core.errors import RunError
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site


class LogSource(Protocol):
    """Where the samples of a recording come from."""

    @property
    def about(self) -> Recording:
        """The recording without its logs."""

    @property
    def sites(self) -> tuple[Site, ...]:
        """Sensors in the order in which the run names them; the first one sets the clock."""

    def pieces(self, site: Site) -> Iterator[SensorLog]:
        """Successive pieces of a log, from its beginning; joined they are the whole log."""


class NotingCuts:
    """A source that notes which of its logs break off while they go by.

    ``cut_short`` holds by site what tells it.
    """

    def __init__(self, source: LogSource) -> None:
        self._source = source
        self._files: dict[Site, str] = {}
        self.cut_short: dict[Site, str] = {}

    @property
    def about(self) -> Recording:
        """The recording without its logs."""
        return self._source.about

    @property
    def sites(self) -> tuple[Site, ...]:
        """Sensors in the order in which the run names them."""
        return self._source.sites

    def pieces(self, site: Site) -> Iterator[SensorLog]:
        """Successive pieces of a log."""
        for piece in self._source.pieces(site):
            if piece.cut_short:
                self.cut_short[site], self._files[site] = piece.cut_short, piece.source
            yield piece

    def name_cut_logs(self, error: RunError) -> RunError:
        """Why nothing came of a recording, and which logs break off: that may be the cause."""
        if not self.cut_short:
            return error
        told = "; ".join(
            f"{self._files[site]} ({site}): {why}" for site, why in self.cut_short.items()
        )
        text = f"{error}. What is missing may lie behind the end of a log that breaks off: {told}"
        return RunError(text, error.flags, error.span_s)


@dataclass(frozen=True, eq=False)
class RecordingSource:
    """A recording in memory, given in pieces.

    Parameters
    ----------
    recording : Recording
    rows : int
        Samples in a piece.
    """

    recording: Recording
    rows: int

    @property
    def about(self) -> Recording:
        """The recording without its logs."""
        return replace(self.recording, logs={})

    @property
    def sites(self) -> tuple[Site, ...]:
        """Sensors in the order in which the run names them."""
        return tuple(self.recording.logs)

    def pieces(self, site: Site) -> Iterator[SensorLog]:
        """Successive pieces of a log, as views of its samples."""
        log = self.recording.logs[site]
        for first in range(0, max(len(log.time_s), 1), self.rows):  # an empty log is a piece too
            yield log.take(slice(first, first + self.rows))
