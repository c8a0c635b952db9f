"""Every reader of references, and the one way to read one.

A new format is a layout in ``layout.py`` (one line in ``LAYOUTS``), a module with
``read`` (see :class:`imuproc.readers.references.request.ReferenceReader`) and one line in
``READERS``.
"""

from importlib import import_module
from typing import Final, cast

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference
from imuproc.readers.references.layout import ReferenceFormat
from imuproc.readers.references.request import ReferenceReader, ReferenceRequest

READERS: Final[dict[ReferenceFormat, str]] = {
    "events": "imuproc.readers.references.events",
    "photocells": "imuproc.readers.references.photocells",
    "c3d": "imuproc.readers.references.c3d.references",
    "bids-events": "imuproc.readers.references.bids",
}


def read_reference(request: ReferenceRequest) -> Reference:
    """Read a reference with the reader that its layout states.

    Parameters
    ----------
    request : ReferenceRequest

    Returns
    -------
    Reference
        At least three contacts, in order of time; times in s.

    Raises
    ------
    LogError
        The reference cannot be read; the text begins with the file.
    """
    reader = cast(ReferenceReader, import_module(READERS[request.layout.format]))
    try:
        if not request.path.exists():
            raise LogError("there is no such file")
        if not request.path.is_file():
            raise LogError("found a folder, or no regular file; allowed: a reference file")
        if request.path.stat().st_size == 0:
            raise LogError("the file is empty")
        return reader.read(request)
    except LogError as error:
        raise LogError(f"{request.source}: {error}") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise LogError(f"{request.source}: cannot be read: {reason}") from error
