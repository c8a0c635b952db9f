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
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from joblib import Parallel

Form = Literal["list", "generator", "generator_unordered"]

_WATCH_S: Final = 0.5


def pool(workers: int, form: Form = "list") -> "Parallel":
    """Workers to give calls to; those of an earlier pool of as many are taken again.

    No more calls are under way than there are workers, one each, and each worker keeps linear
    algebra to one thread.

    Parameters
    ----------
    workers : int
    form : {"list", "generator", "generator_unordered"}
        How results come back.
    """
    from joblib import Parallel, parallel_config

    with parallel_config("loky", inner_max_num_threads=1):
        return Parallel(
            n_jobs=workers,
            return_as=form,
            batch_size=1,
            pre_dispatch=workers,
            max_nbytes=None,
        )


@contextmanager
def started(workers: int, modules: Sequence[str]) -> Iterator[None]:
    """Start the workers of :func:`pool` now, and let them load; they are ended at the end.

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

    calls = (delayed(_load)(os.getpid(), modules) for _ in range(workers))
    loading = pool(workers, "generator")(calls)
    try:
        yield
    finally:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=".*successfully executed")
            loading.close()


def _load(parent: int, modules: Sequence[str]) -> None:
    settle_in(parent)
    for name in modules:
        importlib.import_module(name)
    gc.freeze()  # what is loaded stays: it need not be looked through after each piece of work


@lru_cache(maxsize=1)
def settle_in(parent: int) -> None:
    """Leave Ctrl-C to the parent, and end with it: nobody would take what comes after.

    Parameters
    ----------
    parent : int
        Its process id.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if os.name != "nt":
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_WATCH_S)
    os._exit(1)
