"""A file that HDF5 writes to, also when the disk is full."""

import io
from pathlib import Path


class Sink(io.RawIOBase):
    """A new file for writing that keeps its first error instead of raising it.

    HDF5 cannot let go of a file that it failed to write to: it leaks it, and the process may crash
    at its end. So it is told that all went well, nothing more is written, and the caller raises
    what was kept once HDF5 has closed its side.

    Parameters
    ----------
    path : Path
        Must not exist.

    Raises
    ------
    OSError
        The file cannot be made.
    """

    def __init__(self, path: Path) -> None:
        super().__init__()
        self._file = path.open("x+b", buffering=0)
        self.error: OSError | KeyboardInterrupt | None = None

    def check(self) -> None:
        """Raise the error that was kept, if there is one."""
        if self.error is not None:
            raise self.error

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()

    def readable(self) -> bool:
        """HDF5 reads back what it wrote."""
        return True

    def writable(self) -> bool:
        """It is there to be written."""
        return True

    def seekable(self) -> bool:
        """HDF5 goes to and fro."""
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go to a place."""
        return self._file.seek(offset, whence)

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        """Read from where it stands."""
        return self._file.readinto(buffer)

    def write(self, data: memoryview) -> int:  # type: ignore[override]
        """Write all of it where it stands, unless an error was kept before."""
        size = len(data)
        try:
            while len(data) and self.error is None:
                data = data[self._file.write(data) :]
        except (OSError, KeyboardInterrupt) as error:
            self.error = error
        return size

    def truncate(self, size: int | None = None) -> int:
        """Set the length, unless an error was kept before."""
        try:
            if self.error is None:
                return self._file.truncate(size)
        except (OSError, KeyboardInterrupt) as error:
            self.error = error
        return size or 0
