import os
import subprocess
import sys

import pytest

from tests.guards.sources import REPO


@pytest.mark.skipif(os.name == "nt", reason="process groups and SIGKILL are POSIX")
def test_a_session_killed_a_few_times_ends_with_the_same_files() -> None:
    script = REPO / "scripts" / "kill_and_resume.py"
    # It works on a copy of the package, whose bytecode may well be kept from start to start.
    usual = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(
        [sys.executable, script, "--kills", "2", "--runs", "1", "--seed", "7"],
        capture_output=True,
        text=True,
        env=usual,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "each ended with the same" in done.stdout
