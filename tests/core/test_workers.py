import gc
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from joblib import delayed

from imuproc.files.workers import share_out, start_workers
from tests.session_folder import write_small_session

UNUSED = "imuproc.synth.jump"
"""A module that workers load only when they are told to."""


def _process() -> int:
    time.sleep(0.1)  # long enough for the other worker to take the next call
    return os.getpid()


def _loaded(module: str) -> bool:
    time.sleep(0.1)
    return module in sys.modules


def _there(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    except FileNotFoundError:
        return False
    return state[0] != "Z"


def test_workers_started_early_have_loaded_what_is_needed_and_do_the_work() -> None:
    calls = [delayed(_loaded)(UNUSED) for _ in range(4)]
    assert list(share_out(calls, 2)) == [False] * 4
    with start_workers(2, [UNUSED]):
        assert list(share_out(calls, 2)) == [True] * 4


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="needs /proc")
def test_workers_started_early_are_the_ones_used() -> None:
    with start_workers(2, []):
        first = set(share_out([delayed(_process)() for _ in range(8)], 2))
        again = set(share_out([delayed(_process)() for _ in range(8)], 2, in_order=False))
        assert len(first) == 2
        assert first == again


def test_more_workers_may_be_wanted_than_were_started_early() -> None:
    seen: set[int] = set()
    last_s = time.monotonic() + 60.0  # a busy machine starts the second one late
    with start_workers(2, [UNUSED]):
        while len(seen) < 2 and time.monotonic() < last_s:
            seen |= set(share_out([delayed(_process)() for _ in range(12)], 3))
    assert len(seen) > 1


def test_for_one_worker_nothing_is_started(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise AssertionError("a worker was started")

    monkeypatch.setattr("imuproc.files.workers.share_out", never)
    with start_workers(1, [UNUSED]):
        pass


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="needs signal masks")
def test_ctrl_c_while_calls_are_given_out_is_heard_afterwards() -> None:
    def calls() -> Iterator[object]:
        signal.raise_signal(signal.SIGINT)
        yield from [delayed(_process)() for _ in range(4)]

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with start_workers(2, []):
            with pytest.raises(KeyboardInterrupt):
                share_out(calls(), 2)
            gc.collect()
        assert len(list(share_out([delayed(_process)() for _ in range(4)], 2))) == 4
    finally:
        signal.signal(signal.SIGINT, before)


def _workers_of(process: int) -> list[int]:
    """Worker processes that a process has started."""
    of_it = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="utf-8").split()
    named = [(int(it), Path(f"/proc/{it}/cmdline").read_bytes()) for it in of_it]
    return [it for it, words in named if b"--process-name" in words]


def _with_workers(folder: Path) -> tuple[subprocess.Popen[str], list[int]]:
    """A command whose workers have just been started, and these."""
    session = write_small_session(folder / "session")
    command = [sys.executable, "-m", "imuproc", "process", str(session), "--jobs", "2"]
    command += ["-o", str(folder / "out")]
    # Where tests are run in the background of a shell Ctrl-C is ignored, and by what they start.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
    finally:
        signal.signal(signal.SIGINT, before)
    workers: list[int] = []
    while len(workers) < 2:
        assert process.poll() is None
        workers = _workers_of(process.pid)
        time.sleep(0.001)
    return process, workers


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="needs /proc")
@pytest.mark.parametrize("later_s", [0.0, 0.2])
def test_ctrl_c_while_workers_load_says_so_once_and_leaves_none_behind(
    tmp_path: Path, later_s: float
) -> None:
    process, workers = _with_workers(tmp_path)
    time.sleep(later_s)
    os.killpg(process.pid, signal.SIGINT)  # a terminal tells all processes of a command
    out, err = process.communicate(timeout=60)
    assert out == ""
    assert err in (
        "imuproc: interrupted; finished runs are kept\n",
        "imuproc: interrupted\n",
    )
    assert process.returncode in (130, -signal.SIGINT)
    assert not any(map(_there, workers))


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="needs /proc")
@pytest.mark.parametrize("later_s", [0.0, 0.5])
def test_workers_end_with_a_command_that_is_killed(tmp_path: Path, later_s: float) -> None:
    process, workers = _with_workers(tmp_path)
    time.sleep(later_s)
    process.kill()
    process.communicate(timeout=60)  # returns when nobody writes to its streams any more
    ended_by_s = time.monotonic() + 20.0
    while any(map(_there, workers)) and time.monotonic() < ended_by_s:
        time.sleep(0.05)
    assert not any(map(_there, workers))
