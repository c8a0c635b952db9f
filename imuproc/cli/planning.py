"""``imuproc simulate --plan``: what to expect of a study before it is made."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from imuproc.planning.planner import Expectation


def plan_study(out: Path, path: Path) -> None:
    """Simulate what a plan file asks for, print what to expect, write it to a folder.

    Parameters
    ----------
    out : Path
        Folder for ``accuracy.csv`` and ``changes.csv``; must be new or empty.
    path : Path
        The plan file.

    Raises
    ------
    SessionError
        The plan is wrong, or the folder has something in it or cannot be written.
    """
    from rich.console import Console

    from imuproc.cli.bar import counted
    from imuproc.core.errors import SessionError
    from imuproc.readers.plan_file import read_plan

    plan = read_plan(path)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise SessionError(f"{out} is not empty; name a new folder")
    from imuproc.planning.planner import expect
    from imuproc.report.expectation import print_expectation

    with counted("Runs", plan.runs.athletes * plan.runs.runs) as moved:
        found = expect(plan, lambda: moved(advance=1))
    _write_expectation(out, found)
    print_expectation(Console(highlight=False), found, plan.errors.alpha, plan.errors.power)
    sys.stdout.write(f"Written: {out / 'accuracy.csv'}, {out / 'changes.csv'}\n")


def _write_expectation(out: Path, found: "Expectation") -> None:
    from imuproc.core.errors import SessionError
    from imuproc.files.whole import replace_file

    try:
        out.mkdir(parents=True, exist_ok=True)
        for name, table in (("accuracy.csv", found.accuracy), ("changes.csv", found.changes)):
            with replace_file(out / name) as temporary:
                table.to_csv(temporary, index=False, float_format="%.6g", lineterminator="\n")
    except OSError as error:
        raise SessionError(f"{out} cannot be written: {error.strerror}") from error
