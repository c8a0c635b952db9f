"""Set up, then run every check: lint, format, types, tests. Standard library only."""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  old Pythons must be told, so this file suits them
    sys.exit(
        "imuproc needs Python 3.11 or newer, and this is Python "
        + sys.version.split()[0]
        + ". Install a newer one from https://www.python.org and use it for this command."
    )

import os
import subprocess

from bootstrap import REPO, prepare_environment

CHECKS = (
    ("lint", ["ruff", "check", "--quiet"]),
    ("format", ["ruff", "format", "--check", "--quiet"]),
    ("types", ["mypy", "--no-error-summary"]),
)

# A file's tests stay together: they share what is simulated once. Files go in order of their names;
# ordered by how many tests they hold, those with few that take long would come last and alone.
TESTS = ["pytest", "-q", "-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder"]
TESTS.extend(sys.argv[1:])


def choose_surroundings():
    """Environment variables of the checks: what one process has compiled, the next need not."""
    found = dict(os.environ)
    found.pop("PYTHONDONTWRITEBYTECODE", None)  # the tests start Python some dozens of times
    return found


def run_module(python, module):
    """Exit code of a module with its arguments, run in the repository folder."""
    command = [python, "-m"]
    command.extend(module)
    return subprocess.run(command, cwd=REPO, env=choose_surroundings(), check=False).returncode


def main():
    """Exit code 0 only when every check passes; the summary line of pytest comes last."""
    python = str(prepare_environment("test"))
    failed = False
    for name, command in CHECKS:
        code = run_module(python, command)
        sys.stdout.write(name + ": " + ("failed" if code else "passed") + "\n")
        sys.stdout.flush()
        failed = failed or code != 0
    code = run_module(python, TESTS)
    return code or int(failed)


if __name__ == "__main__":
    sys.exit(main())
