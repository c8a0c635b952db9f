"""Set up, then work out the step tables of the sample session. Standard library only."""

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


def main():
    """Run ``imuproc process`` on data_samples; results go to the folder out."""
    python = prepare_environment()
    # Relative to the repository folder, so that the paths printed are short.
    session = os.path.join("data_samples", "session.toml")
    command = [str(python), "-m", "imuproc", "process", session, "-o", "out"]
    command.extend(sys.argv[1:])
    code = subprocess.run(command, cwd=REPO, check=False).returncode
    if code in (0, 1) and (REPO / "out" / "steps.csv").is_file():
        sys.stderr.write("The files are in " + str(REPO / "out") + "\n")
    return code


if __name__ == "__main__":
    sys.exit(main())
