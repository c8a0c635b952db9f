"""A log that breaks off: every run that comes from it says so, however it was read."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.errors import RunError
from imuproc.core.flag_policy import is_serious
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval, Recording
from imuproc.core.result import Result
from imuproc.pipeline.overview import LongSettings
from imuproc.pipeline.run import process_each
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import RecordingSource
from imuproc.pipeline.windows import cut_windows
from tests.simulated import USUAL, make_result, make_run
from tests.usual import METHOD

WHERE = "line 9 breaks off"
IN_PIECES = LongSettings(longest_whole_samples=2000, piece_samples=500)


def broken_off() -> Recording:
    recording, _ = make_run(USUAL)
    log = replace(recording.logs["left_foot"], cut_short=WHERE)
    return replace(recording, logs={**recording.logs, "left_foot": log})


def results(recording: Recording, long: LongSettings) -> list[Result]:
    settings = Settings(long=long)
    source = RecordingSource(recording, settings.long.piece_samples)
    found = list(process_each(source, settings))
    return [item for item in found if isinstance(item, Result)]


@pytest.mark.parametrize("long", [LongSettings(), IN_PIECES])
def test_the_run_says_it_and_its_figures_stand(long: LongSettings) -> None:
    (result,) = results(broken_off(), long)
    (flag,) = [flag for flag in result.flags if flag.name == "log_cut_short"]
    source = broken_off().logs["left_foot"].source
    found = {"source": source, "reason": WHERE}
    assert flag == RaisedFlag("log_cut_short", found, "left_foot")
    assert not is_serious(flag.name)
    if long is not IN_PIECES:
        usual = make_result(USUAL)
        assert result.steps.equals(usual.steps)
        assert {f.name for f in usual.flags} == {f.name for f in result.flags} - {"log_cut_short"}


def test_each_leg_on_a_clock_of_its_own_says_what_concerns_it() -> None:
    recording = broken_off()
    recording = replace(recording, run=replace(recording.run, clock="separate"))
    told = {
        result.run: sum(flag.name == "log_cut_short" for flag in result.flags)
        for result in results(recording, LongSettings())
    }
    assert {run.rsplit("_", 1)[1]: count for run, count in told.items()} == {"left": 1, "right": 0}


def test_a_part_far_before_the_end_says_it_too() -> None:
    recording = broken_off()
    first_s = float(np.nanmin(recording.logs["left_foot"].time_s))
    spans = [Interval(first_s, first_s + 2.5), Interval(first_s + 2.0, first_s + 4.5)]
    source = RecordingSource(recording, 100)
    for part in cut_windows(source, spans, {"left_foot": WHERE}, METHOD.long.least_s):
        assert {s: log.cut_short for s, log in part.logs.items() if log.cut_short} == {
            "left_foot": WHERE
        }


def test_a_run_that_is_not_there_any_more_is_said_to_be_behind_the_cut() -> None:
    recording = broken_off()
    start_s = min(log.time_s[0] for log in recording.logs.values())
    logs = {s: log.take(log.time_s < start_s + 2.5) for s, log in recording.logs.items()}
    with pytest.raises(RunError, match=r"no sprint steps found .* breaks off: .*line 9 breaks off"):
        results(replace(recording, logs=logs), LongSettings())
    whole = {site: replace(log, cut_short="") for site, log in logs.items()}
    with pytest.raises(RunError, match=r"no sprint steps found [^.]* are right$"):
        results(replace(recording, logs=whole), LongSettings())
