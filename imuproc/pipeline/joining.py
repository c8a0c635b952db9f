"""Results of several runs in one log: their ids, and one table of all."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from imuproc.core.columns import FIGURES
from imuproc.core.errors import RunError
from imuproc.core.recording import Conditioned, SensorLog
from imuproc.core.result import Result


def name_results(found: Iterable[Result | RunError], run_id: str) -> Iterator[Result | RunError]:
    """Give runs of one log their ids: ``R07-01_1``, ``R07-01_2``, ...; a single one keeps its own.

    Parameters
    ----------
    found : iterable of Result or RunError
        In order of time.
    run_id : str
        Id in the session file.

    Yields
    ------
    Result or RunError
        The first result when the second is there, or the end.
    """
    first: Result | None = None
    count = 0
    for item in found:
        if isinstance(item, RunError):
            yield item
            continue
        count += 1
        if count == 1:
            first = item
            continue
        if first is not None:
            yield _rename_result(first, f"{run_id}_1")
            first = None
        yield _rename_result(item, f"{run_id}_{count}")
    if first is not None:
        yield first


def join_results(results: list[Result]) -> Result:
    """One result for a recording that held several runs.

    Parameters
    ----------
    results : list of Result
        As :func:`name_results` gives them, at least one.

    Returns
    -------
    Result
        Motion, contacts and conditioned signals are those of the longest run; ``parts`` has each
        run's own. Its id is that of the longest run without its number.
    """
    if len(results) == 1:
        return results[0]
    longest = max(results, key=lambda result: len(result.steps))
    return replace(
        longest,
        run=longest.conditioned.recording.run.id,
        steps=pd.concat([result.steps for result in results], ignore_index=True),
        curves=pd.concat(
            [result.curves.assign(run=result.run) for result in results], ignore_index=True
        ),
        uncertainty={
            name: pd.concat([result.uncertainty[name] for result in results], ignore_index=True)
            for name in FIGURES
        },
        flags=tuple(flag for result in results for flag in result.flags),
        distances={
            name: distance for result in results for name, distance in result.distances.items()
        },
        parts=tuple(results),
    )


def drop_samples(result: Result) -> Result:
    """The result without the logs that it came from, which hold more than its run.

    What it needs of them is copied: a view would keep all of them in memory.
    """
    whole = result.conditioned
    none = {site: _drop_rows(log) for site, log in whole.recording.logs.items()}
    time_s = whole.time_s.copy()
    conditioned = replace(
        whole,
        recording=replace(whole.recording, logs=none),
        time_s=time_s,
        segments={site: _copy_arrays(segment) for site, segment in whole.segments.items()},
    )
    return replace(result, conditioned=conditioned, motion=replace(result.motion, time_s=time_s))


def _drop_rows(log: SensorLog) -> SensorLog:
    none = np.empty((0, 3))
    return replace(log, time_s=np.empty(0), accel_mps2=none, gyro_radps=none)


def _copy_arrays(segment: Conditioned) -> Conditioned:
    hidden = segment.gyro_hidden_radps
    return replace(
        segment,
        accel_mps2=segment.accel_mps2.copy(),
        gyro_radps=segment.gyro_radps.copy(),
        measured=segment.measured.copy(),
        accel_clipped=segment.accel_clipped.copy(),
        gyro_clipped=segment.gyro_clipped.copy(),
        gyro_hidden_radps=None if hidden is None else hidden.copy(),
    )


def _rename_result(result: Result, run: str) -> Result:
    """The result of one of several runs under that run's own id."""
    return replace(
        result,
        run=run,
        steps=result.steps.assign(run=run),
        flags=tuple(replace(flag, run=run) for flag in result.flags),
        distances=dict(zip([run], result.distances.values(), strict=False)),  # one or none
    )
