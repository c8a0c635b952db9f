"""Where archives lie in a folder of results."""

from pathlib import Path
from typing import Final

RUNS_FOLDER: Final = "runs"
SESSION_ARCHIVE: Final = "session.h5"


def archive_path(folder: Path, run_id: str) -> Path:
    """Where the archive of a recording lies in the folder of results."""
    return folder / RUNS_FOLDER / f"{run_id}.h5"
