"""What a run's result depends on, as one number: the same number, the same result."""

import hashlib
from collections.abc import Iterable, Mapping, MutableMapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from imuproc.batch.plan import Task
from imuproc.readers.logs.registry import list_input_files
from imuproc.results.archive.plain import digest_of
from imuproc.results.archive.schema import SCHEMA
from imuproc.results.archive.writing import versions

ENTRY: Final = "session entry"
"""Name under which what the session file states of a run stands among its inputs."""

PACKAGE: Final = Path(__file__).resolve().parents[1]
_DRAWN: Final = ("assessment", "report")
"""Rooms whose files tell what pages look like, and what they hold runs to."""


def input_digests(task: Task, known: MutableMapping[Path, str] | None = None) -> dict[str, str]:
    """SHA-256 of everything that a run is made from.

    Parameters
    ----------
    task : Task
    known : mapping from Path to str, optional
        Digests of files looked at before; new ones are added.

    Returns
    -------
    dict from str to str
        Hexadecimal, by the path of each log as the session file names it, of each file beside it
        that says what it holds, and by :data:`ENTRY`.

    Raises
    ------
    OSError
        A log cannot be read.
    """
    seen = {} if known is None else known
    digests = {}
    for request in task.session.plans[task.run.id].logs:
        for source, path in list_input_files(request).items():
            if path not in seen:
                with path.open("rb") as file:
                    seen[path] = hashlib.file_digest(file, "sha256").hexdigest()
            digests[source] = seen[path]
    return {**digests, ENTRY: digest_of(_describe_entry(task))}


def fingerprint(inputs: Mapping[str, str], settings: object) -> str:
    """One SHA-256 over inputs, settings of the method, and the programs.

    Parameters
    ----------
    inputs : mapping from str to str
        As :func:`input_digests` gives them.
    settings : object
        Model, dataclass or mapping, nested.

    Returns
    -------
    str
        Hexadecimal.
    """
    return digest_of(
        {
            "inputs": dict(sorted(inputs.items())),
            "settings": settings,
            "archive_schema": SCHEMA,
            "programs": programs(),
        }
    )


@lru_cache(maxsize=1)
def programs() -> Mapping[str, str]:
    """Versions of the programs that the bytes of a result depend on.

    The version number of imuproc stays the same between releases, so its sources count too.
    """
    return {**versions(), "sources of imuproc": _hash_files(PACKAGE, PACKAGE.rglob("*.py"))}


def drawn_with(package: Path = PACKAGE) -> str:
    """SHA-256 of what pages depend on beside programs and archives.

    Parameters
    ----------
    package : Path
        Whose templates, styles, scripts and default targets.

    Returns
    -------
    str
        Hexadecimal.
    """
    files = (path for room in _DRAWN for path in (package / room).rglob("*") if path.is_file())
    return _hash_files(package, (path for path in files if path.suffix not in (".py", ".pyc")))


def _hash_files(package: Path, files: Iterable[Path]) -> str:
    """SHA-256 of files with their places in the package."""
    digest = hashlib.sha256()
    for path in sorted(files, key=lambda path: path.as_posix()):
        digest.update(f"{path.relative_to(package).as_posix()}\n".encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _describe_entry(task: Task) -> dict[str, Any]:
    """What the session file states of a run and that its archive depends on."""
    logs = [
        {
            "site": request.site,
            "source": request.source,
            "select": request.select,
            "layout": request.layout.model_dump(mode="json"),
        }
        for request in task.session.plans[task.run.id].logs
    ]
    return {
        "session": task.session.id,
        "gravity_mps2": task.session.gravity_mps2,
        "athlete": task.athlete,
        "run": task.run,
        "logs": logs,
    }
