"""Kill the processing of a session again and again: in the end every file is as if undisturbed.

    python scripts/kill_and_resume.py                     50 kills, one and two workers in turn
    python scripts/kill_and_resume.py --kills 5 --runs 2  a quick look

A small session is simulated, one of its logs spoiled. It is processed once undisturbed; then again
into empty folders, SIGKILL to the whole process group (every fifth time to the parent alone) at
instants drawn uniformly over the time that the undisturbed process took, and started again until
it ends by itself. After each kill every file that has its final name must have its final content;
in the end the folder must hold the same files, byte for byte, but for process.log.
"""

import argparse
import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

REPO = Path(__file__).resolve().parents[1]
SOME_FAILED = 1  # exit code: the run with the spoiled log has failed, the others are done


@dataclass
class Bench:
    """A session, and the package as it was at the start: nobody edits it on the way."""

    scratch: Path
    session: Path = field(init=False)

    def __post_init__(self) -> None:
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(REPO / "imuproc", self.scratch / "code" / "imuproc", ignore=ignored)
        self.session = self.scratch / "session" / "session.toml"

    def build_command(self, *arguments: object) -> tuple[list[str], dict[str, str]]:
        """Command line and environment of ``imuproc``."""
        environment = {**os.environ, "PYTHONPATH": str(self.scratch / "code")}
        return [sys.executable, "-m", "imuproc", *map(str, arguments)], environment

    def simulate_session(self, runs: int) -> None:
        """The session on disk."""
        folder = self.session.parent
        options = ("--athletes", 1, "--runs", runs + 1, "--distance", 15, "--rate", 250)
        command, environment = self.build_command("simulate", folder, *options)
        subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL)
        spoiled = max((folder / "logs").iterdir())
        spoiled.write_bytes(spoiled.read_bytes()[:20])

    def start_process(self, out: Path, jobs: int) -> subprocess.Popen[bytes]:
        """The command under way, in a process group of its own."""
        options = ("-o", out, "--quiet", "--jobs", jobs)
        command, environment = self.build_command("process", self.session, *options)
        return subprocess.Popen(
            command,
            cwd=self.scratch / "code",
            env=environment,
            start_new_session=True,
            stderr=subprocess.DEVNULL,
        )


def hash_content(out: Path) -> dict[str, str]:
    """SHA-256 of every file but the log of the process, by its path in the folder."""
    return {
        path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*"))
        if path.is_file() and path.name != "process.log"
    }


def wait_until_finished(process: subprocess.Popen[bytes]) -> None:
    """Wait for a process that nobody kills."""
    if process.wait() != SOME_FAILED:
        sys.exit(f"exit code {process.returncode} instead of {SOME_FAILED}")


def count_survivors(out: Path, expected: dict[str, str]) -> int:
    """Number of finished runs; ends the script when a file has its final name but other content."""
    if not out.exists():
        return 0
    found = {name: sha for name, sha in hash_content(out).items() if not name.endswith(".part")}
    for name, sha in found.items():
        if expected.get(name) != sha:
            sys.exit(f"after a kill, {name} has neither its final content nor a temporary name")
    return sum(name.startswith("runs/") for name in found)


def wait_for_first_archive_s(process: subprocess.Popen[bytes], out: Path) -> float:
    """Wait for a finished run, when no kill met one yet; 0 s for the kill that follows at once."""
    while process.poll() is None and not list((out / "runs").glob("[!.]*.h5")):
        time.sleep(0.01)
    return 0.0


def kill_after(process: subprocess.Popen[bytes], delay_s: float, group: bool) -> bool:
    """Kill after a delay; False when the process had ended before."""
    try:
        process.wait(timeout=delay_s)
    except subprocess.TimeoutExpired:
        if group:
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
        process.wait()
        return True
    wait_until_finished(process)
    return False


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50, help="how many at least")
    parser.add_argument("--runs", type=int, default=4, help="runs of the session that are done")
    parser.add_argument("--seed", type=int, default=1, help="of the instants")
    given = parser.parse_args()
    drawn, kills, folders, kept = random.Random(given.seed), 0, 0, 0
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch:
        bench = Bench(Path(scratch))
        bench.simulate_session(given.runs)
        expected, longest_s = {}, {}
        for jobs in (1, 2):
            begin = time.monotonic()
            wait_until_finished(bench.start_process(bench.scratch / f"whole{jobs}", jobs))
            longest_s[jobs] = time.monotonic() - begin
            expected[jobs] = hash_content(bench.scratch / f"whole{jobs}")
        if expected[1] != expected[2]:
            sys.exit("one worker and two workers did not leave the same files")
        while kills < given.kills or not kept:  # one kill at least with work finished
            folders += 1
            jobs, out = 1 + folders % 2, bench.scratch / f"out{folders}"
            while True:
                delay_s = drawn.uniform(0.0, longest_s[jobs])
                process = bench.start_process(out, jobs)
                if kills >= given.kills and not kept:
                    delay_s = wait_for_first_archive_s(process, out)
                if not kill_after(process, delay_s, group=kills % 5 != 4):
                    break
                kills += 1
                left = count_survivors(out, expected[1])
                kept += left
                print(f"kill {kills} after {delay_s:.2f} s: {left} runs whole", flush=True)
            if hash_content(out) != expected[1]:
                sys.exit(f"folder {folders}: not the files of an undisturbed process")
            shutil.rmtree(out)
    names = len(expected[1])
    print(f"{kills} kills, {folders} folders: each ended with the same {names} files")
    return 0


if __name__ == "__main__":
    sys.exit(main())
