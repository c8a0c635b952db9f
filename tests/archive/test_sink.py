"""A full disk: the old archive stays, nothing half-written is left, and the process goes on."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from imuproc.results.archive.sink import Sink
from tests.guards.sources import REPO

# A limit on the size of files stands for the disk: what is beyond it fails in the same place.
FULL_DISK = """
import os, resource, sys
from pathlib import Path
from imuproc.results.archive.assembling import assemble_session
from tests.archive.made_archives import small_archive

def limited(size, work):
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    try:
        work()
    except OSError as error:
        return error.strerror
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    return "no error"

folder = Path(sys.argv[1])
run, session = small_archive(folder / "a.h5"), folder / "session.h5"
assemble_session(session, [run], {"id": "before"})
before = run.read_bytes(), session.read_bytes()
def sizes(whole):
    return [0, 100, 600, 3000, len(whole) // 2, len(whole) - 1]
for size in sizes(before[0]):
    print(limited(size, lambda: small_archive(run, "R07-02")))
for size in sizes(before[1]):
    print(limited(size, lambda: assemble_session(session, [run], {"id": "behind"})))
assert (run.read_bytes(), session.read_bytes()) == before, "changed"
assert sorted(os.listdir(folder)) == ["a.h5", "session.h5"], os.listdir(folder)
small_archive(run, "R07-02")
"""


@pytest.mark.skipif(os.name == "nt", reason="limits of file sizes are a thing of POSIX")
def test_a_full_disk_costs_only_what_did_not_fit(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(tmp_path)],
        cwd=REPO,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""  # neither tracebacks of HDF5's own nor a crash at the end
    assert done.returncode == 0
    assert done.stdout.splitlines() == ["File too large"] * 12


def test_the_first_error_is_kept_and_nothing_more_is_written(tmp_path: Path) -> None:
    with Sink(tmp_path / "a") as sink:
        sink.write(memoryview(b"before"))
        sink.check()
        sink.error = OSError(28, "No space left on device")
        assert sink.write(memoryview(b"after")) == 5
        assert sink.truncate(100) == 100
        with pytest.raises(OSError, match="No space left on device"):
            sink.check()
    assert (tmp_path / "a").read_bytes() == b"before"


def test_a_file_that_is_there_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"mine")
    with pytest.raises(FileExistsError, match="File exists"):
        Sink(tmp_path / "a")
