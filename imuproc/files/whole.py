"""Files appear whole or not at all."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def replace_file(path: Path) -> Iterator[Path]:
    """Give a temporary path beside ``path``; rename it to ``path`` when the block succeeds.

    A reader never sees half a file, and an error or an interruption leaves the old one as it was.
    The content is on the disk before the name is, so that a power cut does not leave half a file
    under it either.

    Parameters
    ----------
    path : Path
        The file to write; its folder must exist.

    Yields
    ------
    Path
        Where to write.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        yield temporary
        with temporary.open("r+b") as written:
            os.fsync(written.fileno())
        os.replace(temporary, path)
        _sync_folder(path.parent)
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a text in UTF-8 with line feeds, whole or not at all.

    Raises
    ------
    OSError
        The folder cannot be written.

    See Also
    --------
    replace_file : for what is not text.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_text(Path(folder, "note.txt"), "whole or not at all")
    ...     [path.name for path in Path(folder).iterdir()]
    ['note.txt']
    """
    with replace_file(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def _sync_folder(folder: Path) -> None:
    """Have the new name on the disk too, where the system lets folders be opened."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
