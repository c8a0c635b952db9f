"""Whether a missing browser is a reason to skip or a failure."""

import os
from typing import NoReturn

import pytest

SWITCH = "IMUPROC_BROWSER_TESTS"


def missing(reason: str) -> NoReturn:
    """No browser: a reason to skip, or a failure where browser tests are required."""
    if os.environ.get(SWITCH) == "require":
        pytest.fail(f"{SWITCH}=require, but {reason}")
    pytest.skip(reason)
