from types import SimpleNamespace

import numpy as np
import pytest

import imuproc.motion.segment as segment_module
from imuproc.core.errors import RunError


def test_samples_that_leave_no_solution_are_told_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    def singular(*_: object) -> None:
        raise np.linalg.LinAlgError("not positive definite")

    monkeypatch.setattr(segment_module, "_solve_once", singular)
    prepared = SimpleNamespace(segment=SimpleNamespace(site="left_foot"))
    with pytest.raises(RunError, match=r"left_foot cannot be worked out.*copy it again"):
        segment_module.solve_segment(prepared, *[None] * 4)
