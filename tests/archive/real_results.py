"""Results of simulated sprints, for archives that hold everything."""

from dataclasses import replace

from imuproc.core.result import Result
from imuproc.pipeline.joining import join_results, name_results
from tests.simulated import USUAL, make_result


def real_result(run_id: str = "R07-01") -> Result:
    """A simulated sprint processed, under an id of its own."""
    result = make_result(USUAL)
    return replace(result, run=run_id, steps=result.steps.assign(run=run_id))


def several_runs(run_id: str = "R07-02") -> Result:
    """Two runs of one log."""
    result = make_result(USUAL)
    named = [found for found in name_results([result, result], run_id) if isinstance(found, Result)]
    return replace(join_results(named), run=run_id)
