"""A session file in, tables and files out: all of ``imuproc process`` but what it prints."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from imuproc.batch.plan import Task, plan
from imuproc.core.errors import SessionError
from imuproc.files.workers import count_cores, start_workers
from imuproc.readers.session import read_session
from imuproc.results.folder import archive_path

if TYPE_CHECKING:
    from imuproc.batch.processed import Processed
    from imuproc.batch.session import Watch
    from imuproc.pipeline.settings import Settings

_NEEDED_BY_WORKERS: Final = ("imuproc.batch.local", "imuproc.pipeline.run")


@dataclass(frozen=True)
class SessionOptions:
    """What can be asked for beside the session itself; the options of ``imuproc process``.

    Parameters
    ----------
    settings : Settings or path, optional
        Numbers of the method, or a file (TOML) of those that differ from the defaults.
    runs : sequence of str
        Ids of the runs wanted; all when empty.
    again : bool
        Process also what is there and has not changed.
    jobs : int, optional
        Worker processes, at least 1; as many as there are cores when left out.
    cluster : str, optional
        Address of a Dask scheduler that does the work instead, as ``tcp://HOST:8786``.
    targets : path, optional
        Target sets (TOML) for the report, beside the default one.
    report : bool
        Make the report for people too.
    strict : bool
        Count a run with a serious flag as failed, without figures.

    Examples
    --------
    >>> import imuproc
    >>> imuproc.SessionOptions(runs=["R07-01"], strict=True).report
    True
    """

    settings: "Settings | Path | str | None" = None
    runs: Sequence[str] = ()
    again: bool = False
    jobs: int | None = None
    cluster: str | None = None
    targets: Path | str | None = None
    report: bool = True
    strict: bool = False

    def __post_init__(self) -> None:
        """Refuse what no command line would let through."""
        if isinstance(self.runs, str):
            raise SessionError(f"runs: found {self.runs!r}; allowed: a list of ids")
        if self.jobs is not None and self.jobs < 1:
            raise SessionError(f"jobs: found {self.jobs}; allowed: 1 or more, or None")


class SessionInterrupted(KeyboardInterrupt):
    """The user stopped the work on a session (Ctrl-C); what was finished by then is written.

    Parameters
    ----------
    processed : Processed
    """

    def __init__(self, processed: "Processed") -> None:
        super().__init__()
        self.processed = processed


def process_session(
    path: Path | str,
    out: Path | str = "out",
    options: SessionOptions | None = None,
    watch: "Watch | None" = None,
) -> "Processed":
    """Process the runs of a session and write everything that ``imuproc process`` writes.

    Runs whose logs, entry and settings are those of the last time are not processed again. Nothing
    is printed.

    Parameters
    ----------
    path : path
        Session file (TOML).
    out : path
        Folder for the results; made when needed.
    options : SessionOptions, optional
    watch : Watch, optional
        Is told how the work goes on.

    Returns
    -------
    Processed
        Tables of steps, runs and phases, and for each run that failed the reason: one that cannot
        be processed does not cost the others.

    Raises
    ------
    SessionError
        The request itself is wrong: the session file, the settings, a run that it does not have, a
        folder that cannot be written or is in use.
    SessionInterrupted
        Stopped by the user (a KeyboardInterrupt); its ``processed`` has what was finished.

    See Also
    --------
    imuproc.process : one recording, nothing written.

    Examples
    --------
    >>> import imuproc, tempfile
    >>> options = imuproc.SessionOptions(runs=["R07-01"], report=False)
    >>> with tempfile.TemporaryDirectory() as out:
    ...     done = imuproc.process_session("data_samples/session.toml", out, options)
    >>> done.failed
    {}
    >>> done.phases[["run", "phase", "steps"]].to_numpy().tolist()[0]
    ['R07-01', 'drive', 7]
    """
    options, folder = options or SessionOptions(), Path(out)
    tasks = plan(read_session(path), options.runs)
    with start_workers(_count_early_workers(tasks, folder, options), _NEEDED_BY_WORKERS):
        return _process_tasks(tasks, folder, options, watch)


def _count_jobs(options: SessionOptions) -> int:
    return count_cores() if options.jobs is None else options.jobs


def _count_early_workers(tasks: list[Task], out: Path, options: SessionOptions) -> int:
    """How many workers there is work for beyond doubt, before any input has been looked at."""
    wanted = [task.run.id for task in tasks if task.wanted]
    there = 0 if options.again else sum(archive_path(out, run).exists() for run in wanted)
    return 0 if options.cluster else min(_count_jobs(options), len(wanted) - there)


def _process_tasks(
    tasks: list[Task], out: Path, options: SessionOptions, watch: "Watch | None"
) -> "Processed":
    # What follows takes as long to load as a run takes to process: the workers load meanwhile.
    from imuproc.batch.folder import output_folder
    from imuproc.batch.pages import require_targets
    from imuproc.batch.session import Request, Unwatched, process_tasks
    from imuproc.pipeline.run import process_each
    from imuproc.pipeline.settings import Settings, read_settings

    if options.report:
        require_targets(tasks, None if options.targets is None else Path(options.targets))
    given = options.settings
    request = Request(
        tasks,
        process_each,
        given if isinstance(given, Settings) else read_settings(Path(given) if given else None),
        jobs=_count_jobs(options),
        cluster=options.cluster,
        again=options.again,
        report=options.report,
        targets=None if options.targets is None else Path(options.targets),
        strict=options.strict,
    )
    with output_folder(out, tasks) as folder:
        processed = process_tasks(request, folder, watch or Unwatched())
    if processed.interrupted:
        raise SessionInterrupted(processed)
    return processed
