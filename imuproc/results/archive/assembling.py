"""The archive of a whole session: a copy of those of its recordings, in one file."""

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from imuproc.core.errors import ArchiveError
from imuproc.results.archive.head import read_stated_digest
from imuproc.results.archive.plain import hash_values
from imuproc.results.archive.reading import open_hdf5
from imuproc.results.archive.values import read_attribute, read_json, write_attribute, write_json
from imuproc.results.archive.writing import create_archive_file


def assemble_session(
    path: Path,
    archives: Sequence[Path],
    session: Mapping[str, Any],
    left_out: Collection[str] = (),
) -> None:
    """Join the archives of recordings into one that needs none of them.

    Each is verified, then copied piece by piece as it lies on the disk, so that memory does not
    grow with the session. Where the file is there, whole and made from the same, it stays.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole and on the disk.
    archives : sequence of Path
        In the order wanted.
    session : mapping
        What is known of the session as a whole: id, date and such; no clock times, no absolute
        paths.
    left_out : collection of str
        Runs that are not to be in it.

    Raises
    ------
    ArchiveError
        An archive is damaged or of an unknown schema, or two hold a run of the same id.
    OSError
        The file cannot be written; what was there before is still there.
    """
    made_from = _hash_sources(archives, session, left_out)
    if _is_made_from(path, made_from):
        return
    with create_archive_file(path, "session") as (root, sink):
        write_attribute(root, "made_from", made_from)
        write_json(root, "session", session)
        order: list[str] = []
        for archive in archives:
            with open_hdf5(archive) as source:
                for run_id in read_json(source, "order"):
                    if run_id in left_out:
                        continue
                    if run_id in order:
                        raise ArchiveError(f"{archive}: run {run_id} is in another archive too")
                    source.copy(f"runs/{run_id}", root["runs"], name=run_id)
                    order.append(run_id)
                    sink.check()
        write_json(root, "order", order)


def _hash_sources(
    archives: Sequence[Path], session: Mapping[str, Any], left_out: Collection[str]
) -> str:
    """One SHA-256 over all that the content of a session's archive depends on."""
    parts = {
        "archives": [read_stated_digest(archive) for archive in archives],
        "session": session,
        "left_out": sorted(left_out),
    }
    return hash_values(parts)


def _is_made_from(path: Path, made_from: str) -> bool:
    if not path.is_file():
        return False
    try:
        with open_hdf5(path) as root:
            return read_attribute(root, "made_from") == made_from
    except ArchiveError:
        return False
