"""Files appear whole or not at all."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def replaced_file(path: Path) -> Iterator[Path]:
    """Give a temporary path beside ``path``; rename it to ``path`` when the block succeeds.

    A reader never sees half a file, and an error or an interruption leaves the old one as it was.

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
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)
