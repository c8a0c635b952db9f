"""Where the open reference data lies, and the skip for machines that have none."""

from pathlib import Path

import pytest

SHARED_DATA = Path(__file__).resolve().parents[2] / "shared" / "data"

needs_shared_data = pytest.mark.skipif(
    not SHARED_DATA.is_dir(),
    reason=f"open reference data is not on this machine (looked for {SHARED_DATA})",
)
