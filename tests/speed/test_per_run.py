"""What a run costs and tells does not hang on how many runs the log holds."""

from functools import cache

import numpy as np

import imuproc
from imuproc.core.result import Result
from scripts.bench import make_one_run, repeat_recording


@cache
def runs_of(times: int) -> tuple[Result, ...]:
    """The runs of a log in which one run comes again and again."""
    return imuproc.process(repeat_recording(make_one_run(30.0, 200.0), times)).parts


def test_each_run_of_a_longer_log_takes_as_many_samples_and_rests() -> None:
    few, many = runs_of(2), runs_of(5)
    assert (len(few), len(many)) == (2, 5)
    # Before the first run the log begins; all others stand between runs or before the end.
    usual = len(few[1].conditioned.time_s)
    rests = {site: part.calibration.rests for site, part in few[1].conditioned.segments.items()}
    for run in many[1:]:
        assert abs(len(run.conditioned.time_s) - usual) <= 2
        for site, part in run.conditioned.segments.items():
            assert len(part.calibration.rests) == len(rests[site])
    assert usual < 30.0 * 200.0  # no more than lies between one run and the next


def test_a_run_tells_the_same_in_a_longer_log() -> None:
    model = runs_of(2)[1].steps
    for run in runs_of(5)[1:]:
        assert len(run.steps) == len(model)
        for name in model.columns[model.columns.str.endswith("_u")]:
            figure, spread = name.removesuffix("_u"), model[name].to_numpy()
            moved = run.steps[figure].to_numpy() - model[figure].to_numpy()
            if figure in ("touchdown_s", "toe_off_s"):
                moved = moved - np.median(moved)
            assert (np.isnan(moved) == np.isnan(model[figure])).all(), figure
            known = np.isfinite(moved)
            assert (np.abs(moved[known]) <= 0.05 * spread[known]).all(), figure


def test_long_standing_is_used_near_the_run_only() -> None:
    for run in runs_of(2):
        for part in run.conditioned.segments.values():
            after = part.calibration.still_after
            assert after is not None
            assert after.duration_s <= 6.0
            assert after.start_s < run.contacts.toe_off_s[-1] + 8.0
