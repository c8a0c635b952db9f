"""The logs of a session's run, read piece by piece."""

from collections.abc import Iterator
from dataclasses import dataclass

from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site
from imuproc.readers.logs.registry import stream_log
from imuproc.readers.session import Session


@dataclass(frozen=True, eq=False)
class SessionLogs:
    """A :class:`imuproc.pipeline.sources.LogSource` of files.

    Parameters
    ----------
    session : Session
    run_id : str
    rows : int
        Samples in a piece.
    """

    session: Session
    run_id: str
    rows: int

    @property
    def about(self) -> Recording:
        """The recording without its logs."""
        return self.session.build_empty_recording(self.run_id)

    @property
    def sites(self) -> tuple[Site, ...]:
        """Sensors in the order in which the run names them."""
        return tuple(request.site for request in self.session.list_requests(self.run_id))

    def pieces(self, site: Site) -> Iterator[SensorLog]:
        """Successive pieces of a log; LogError where it cannot be read."""
        requests = {request.site: request for request in self.session.list_requests(self.run_id)}
        return stream_log(requests[site], self.rows)
