"""A sound sprint that tests of whole runs start from."""

import pandas as pd
import pytest

from imuproc.core.recording import Recording
from tests.simulated import USUAL, make_run, select_running


@pytest.fixture(scope="module")
def usual() -> tuple[Recording, pd.DataFrame]:
    """A sprint of 20 m and its true running steps."""
    recording, truth = make_run(USUAL)
    return recording, select_running(truth)
