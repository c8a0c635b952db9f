"""Every error that imuproc raises on purpose.

::

    ImuprocError
    ├── SessionError      the request or the session file is wrong: nothing can be done
    ├── LogError          one log or reference cannot be read: its run fails, the others go on
    ├── RunError          one run cannot be processed: it gets its row and its reason
    ├── ArchiveError      an archive is damaged, of an unknown schema, or lacks what is asked for
    └── PlotError         a run has not what a plot shows
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from imuproc.core.flags import RaisedFlag


class ImuprocError(Exception):
    """Base of all errors that imuproc raises on purpose."""


class SessionError(ImuprocError):
    """The session file or the command itself is wrong."""


class LogError(ImuprocError):
    """One sensor log, or one reference, cannot be read."""


class RunError(ImuprocError):
    """One run cannot be processed.

    Parameters
    ----------
    text : str
        What, where and what to do.
    flags : tuple of RaisedFlag
        The same trouble as data, where there is a flag for it.
    span_s : tuple of (float, float) or None
        First and last instant of the interval that was refused in s; None where it is all.
    """

    def __init__(
        self,
        text: str,
        flags: "tuple[RaisedFlag, ...]" = (),
        span_s: tuple[float, float] | None = None,
    ) -> None:
        super().__init__(text)
        self.flags = flags
        self.span_s = span_s


class ArchiveError(ImuprocError):
    """An archive cannot be trusted, understood or made, or lacks what is asked for."""


class PlotError(ImuprocError):
    """A run has not what a plot shows, or the name of a figure or site is wrong."""
