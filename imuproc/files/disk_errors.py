"""Words for what the disk refuses: the file, why, and what to do."""

import errno
from typing import Final

_FULL: Final = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
_FORBIDDEN: Final = {errno.EACCES, errno.EPERM, errno.EROFS}


def describe_write_error(
    what: object, error: OSError, kept: str = ": finished runs are kept"
) -> str:
    """A sentence for a file or folder that cannot be written; ``kept``: what of it need not be."""
    reason = error.strerror or str(error)
    advice = f"look at the disk, then run the same command again{kept}"
    if error.errno in _FULL:
        advice = f"free some space, then run the same command again{kept}"
    elif error.errno in _FORBIDDEN:
        advice = "allow writing there, or name another folder with --out"
    return f"{what}: cannot be written ({reason}); {advice}"
