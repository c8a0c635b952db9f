"""Results of several runs in one log: their ids, and one table of all."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import pandas as pd

from imuproc.core.columns import FIGURES
from imuproc.core.errors import RunError
from imuproc.core.result import Result
from imuproc.pipeline.sources import rows_of


def named_results(found: Iterable[Result | RunError], run_id: str) -> Iterator[Result | RunError]:
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
            yield _renamed(first, f"{run_id}_1")
            first = None
        yield _renamed(item, f"{run_id}_{count}")
    if first is not None:
        yield first


def join_results(results: list[Result]) -> Result:
    """One result for a recording that held several runs.

    Parameters
    ----------
    results : list of Result
        As :func:`named_results` gives them, at least one.

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


def without_samples(result: Result) -> Result:
    """The result without the logs that it came from, which hold more than its run."""
    recording = result.conditioned.recording
    logs = {site: rows_of(log, slice(0, 0)) for site, log in recording.logs.items()}
    conditioned = replace(result.conditioned, recording=replace(recording, logs=logs))
    return replace(result, conditioned=conditioned)


def _renamed(result: Result, run: str) -> Result:
    """The result of one of several runs under that run's own id."""
    return replace(
        result,
        run=run,
        steps=result.steps.assign(run=run),
        flags=tuple(replace(flag, run=run) for flag in result.flags),
        distances=dict(zip([run], result.distances.values(), strict=False)),  # one or none
    )
