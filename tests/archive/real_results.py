"""Results of simulated sprints, for archives that hold everything."""

from dataclasses import replace

from imuproc.core.result import Result
from imuproc.pipeline.table import join_results
from tests.simulated import USUAL, made_result


def real_result(run_id: str = "R07-01") -> Result:
    """A simulated sprint processed, under an id of its own."""
    result = made_result(USUAL)
    return replace(result, run=run_id, steps=result.steps.assign(run=run_id))


def several_runs(run_id: str = "R07-02") -> Result:
    """Two runs of one log."""
    result = made_result(USUAL)
    recording = result.conditioned.recording
    named = replace(recording, run=replace(recording.run, id=run_id))
    return replace(join_results([result, result], named), run=run_id)
