"""What a reference cannot have is told apart from what it does not have."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.agreement.alignment.clock import clock_from_instant
from imuproc.agreement.compare import compare
from imuproc.core.reference import Reference
from tests.report.fake_result import fake_steps


def seen_of(keep: list[int]) -> Reference:
    """A reference of some steps of a run of ten, 2 s behind the table's clock."""
    steps = fake_steps(10).iloc[keep]
    nothing = np.full(len(keep), np.nan)
    return Reference(
        source="seen.c3d",
        side=steps["side"].to_numpy(dtype=object),
        touchdown_s=steps["touchdown_s"].to_numpy() - 2.0,
        toe_off_s=steps["toe_off_s"].to_numpy() - 2.0,
        contact_time_s=nothing,
        flight_time_s=nothing,
        kind="force plate",
        has_clock=True,
        resolution_s=0.001,
    )


def test_a_contact_over_the_edge_of_a_plate_is_left_out_and_not_invented() -> None:
    steps = fake_steps(10)
    clock = clock_from_instant(10.0, 8.0, 0.001, 0.0)
    reference = seen_of([0, 1, 2, 3, 5, 6, 7, 8, 9])
    plain = compare(steps, reference, clock)
    assert plain.detection.iloc[0]["invented"] == 1
    middle_s = float(steps["touchdown_s"].iloc[4]) + 0.05 - 2.0
    told = compare(steps, replace(reference, left_out_s=(middle_s,)), clock)
    assert told.detection.iloc[0]["invented"] == 0
    assert told.detection.iloc[0]["found"] == 9
    row = told.exclusions[told.exclusions["step"] == 5].iloc[0]
    assert row["reason"] == "the reference has this contact and leaves it out, see its notes"
    # The steps on both sides of it are no neighbours.
    times = told.paired[told.paired["figure"] == "step_time_s"]
    assert 4 not in set(times["step"])
    assert times["reference"].to_numpy() == pytest.approx(0.23)
