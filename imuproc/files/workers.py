"""Worker processes of this machine: the same ones for all that a command shares out.

They take as long to load the programs as a run takes to process. So they are started before it is
known what they are to do, and load while the command still plans.
"""

import gc
import importlib
import os
import signal
import threading
import time
import warnings
from collections.abc import Generator, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from multiprocessing import resource_tracker
from typing import Any, Final

_LOADED: Final[ContextVar[tuple[str, ...]]] = ContextVar("_LOADED", default=())
"""What workers load before they work."""

_WATCH_S: Final = 0.5
"""How often a worker looks whether its parent is there."""

_TAKEN_S: Final = 0.2
"""How long calls that have just been given out are left to be taken before they are given up."""


def count_cores() -> int:
    """Cores that this process may use."""
    from joblib import cpu_count

    count: int = cpu_count()
    return max(1, count)


def share_out(
    calls: Iterable[Any], workers: int, in_order: bool = True
) -> Generator[Any, None, None]:
    """Give calls to workers; those of an earlier time are taken again if they were as many.

    No more calls are under way than there are workers, one each, and each worker keeps linear
    algebra to one thread.

    Parameters
    ----------
    calls : iterable
        As :func:`joblib.delayed` makes them. The first ones are taken and begun at once.
    workers : int
    in_order : bool
        Whether results come in the order of the calls, or else as they are ready.

    Returns
    -------
    generator
        Of results. Closing it early ends the workers.
    """
    from joblib import Parallel, parallel_config

    with parallel_config("loky", inner_max_num_threads=1):
        parallel = Parallel(
            n_jobs=workers,
            return_as="generator" if in_order else "generator_unordered",
            batch_size=1,
            pre_dispatch=workers,
            max_nbytes=None,
            initializer=_prepare_worker,
            initargs=(os.getpid(), _LOADED.get()),
        )
    with ExitStack() as undo:
        with _block_interruption(), warnings.catch_warnings():
            # Where more are wanted than have been started, those have to load first.
            warnings.filterwarnings("ignore", "Trying to resize an executor")
            results: Generator[Any, None, None] = parallel(calls)
            undo.callback(_close_early, results)
        undo.pop_all()
    return results


@contextmanager
def start_workers(workers: int, modules: Sequence[str]) -> Iterator[None]:
    """Start the workers of :func:`share_out` now and let them load; so do all in the block.

    They end with this process. However the block ends, they have loaded then: to end them before
    would leave messages of those that were just being started.

    Parameters
    ----------
    workers : int
        Below 2 nothing is started.
    modules : sequence of str
        What they load.
    """
    if workers < 2:
        yield
        return
    from joblib import delayed

    before = _LOADED.set(tuple(modules))
    try:
        with ExitStack() as at_end:
            with _block_interruption():
                calls = [delayed(_do_nothing)() for _ in range(workers)]
                at_end.callback(_await_results, share_out(calls, workers))
            yield
    finally:
        _LOADED.reset(before)


def _close_early(results: Generator[Any, None, None]) -> None:
    time.sleep(_TAKEN_S)  # joblib's own thread stumbles over those it has not taken
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", ".* tasks .* been (successfully|cancelled)")
        results.close()


def _do_nothing() -> None:
    pass


def _await_results(results: Generator[None, None, None]) -> None:
    with suppress(RuntimeError):  # a worker has died, or was ended: told where it was at work
        for _ in results:
            pass


def _prepare_worker(parent: int, modules: tuple[str, ...]) -> None:
    """Leave Ctrl-C to the parent, end with it, and load.

    The first thing that a worker does: one that waits for work of a parent that is gone would wait
    for ever.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if os.name != "nt":
        threading.Thread(target=_exit_with_parent, args=(parent,), daemon=True).start()
    for name in modules:
        importlib.import_module(name)
    gc.freeze()  # what is loaded stays: it need not be looked through after each piece of work


def _exit_with_parent(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_WATCH_S)
    os._exit(1)


@contextmanager
def _block_interruption() -> Iterator[None]:
    """Processes started within never hear Ctrl-C, also while they load; this one does, after it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # if it were started within, this process would hear again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
