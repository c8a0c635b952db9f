"""Every error that imuproc raises on purpose.

::

    ImuprocError
    ├── SessionError      the request or the session file is wrong: nothing can be done
    ├── LogError          one log or reference cannot be read: its run fails, the others go on
    ├── RunError          one run cannot be processed: it gets its row and its reason
    ├── ArchiveError      an archive is damaged, of an unknown schema, or lacks what is asked for
    └── PlotError         a run has not what a plot shows
"""


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
    flag : str
        Name of the flag that stands for the same trouble; empty where there is none.
    """

    def __init__(self, text: str, flag: str = "") -> None:
        super().__init__(text)
        self.flag = flag


class ArchiveError(ImuprocError):
    """An archive cannot be trusted, understood or made, or lacks what is asked for."""


class PlotError(ImuprocError):
    """A run has not what a plot shows, or the name of a figure or site is wrong."""
