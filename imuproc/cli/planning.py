"""``imuproc simulate --plan``: what to expect of a study before it is made."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from imuproc.planning.planner import Expectation

_ACCURACY = (
    ("figure", "figure"),
    ("unit", "unit"),
    ("given_percent", "given %"),
    ("bias", "bias"),
    ("sd", "SD"),
    ("sd_within_run", "within runs"),
    ("sd_between_runs", "between runs"),
    ("within_2u_percent", "within 2u %"),
    ("smallest_change_step", "least change, step"),
    ("smallest_change_run", "least change, run"),
)
_CHANGES = (
    ("figure", "figure"),
    ("unit", "unit"),
    ("change", "change"),
    ("step_sd", "SD of steps"),
    ("run_sd", "SD of runs"),
    ("steps_needed", "steps"),
    ("steps_without_error", "if perfect"),
    ("runs_needed", "runs"),
    ("runs_without_error", "if perfect"),
)


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
    from rich.progress import BarColumn, MofNCompleteColumn, Progress

    from imuproc.core.errors import SessionError
    from imuproc.readers.plan_file import read_plan

    plan = read_plan(path)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise SessionError(f"{out} is not empty; name a new folder")
    from imuproc.planning.planner import expect

    console = Console(stderr=True)
    columns = ("Runs", BarColumn(), MofNCompleteColumn())
    shown = Progress(*columns, console=console, disable=not console.is_terminal, transient=True)
    with shown as progress:
        bar = progress.add_task("runs", total=plan.runs.athletes * plan.runs.runs)
        found = expect(plan, lambda: progress.advance(bar))
    _write(out, found)
    sys.stdout.write(_text(found, plan.errors.alpha, plan.errors.power))
    sys.stdout.write(f"Written: {out / 'accuracy.csv'}, {out / 'changes.csv'}\n")


def _write(out: Path, found: "Expectation") -> None:
    from imuproc.core.errors import SessionError
    from imuproc.files.whole import replaced_file

    try:
        out.mkdir(parents=True, exist_ok=True)
        for name, table in (("accuracy.csv", found.accuracy), ("changes.csv", found.changes)):
            with replaced_file(out / name) as temporary:
                table.to_csv(temporary, index=False, float_format="%.6g", lineterminator="\n")
    except OSError as error:
        raise SessionError(f"{out} cannot be written: {error.strerror}") from error


def _text(found: "Expectation", alpha: float, power: float) -> str:
    from imuproc.core.words import plural
    from imuproc.planning.planner import LIMITS

    lines = [
        f"{plural(found.runs, 'simulated run')}: {found.found} of {found.steps} steps found, "
        f"{found.invented} invented.",
        *(f"No result: {why}" for why in found.failed),
        "",
        "Accuracy to expect of single steps, and the least change beyond measurement error:",
        _lined(found.accuracy, _ACCURACY),
        "",
    ]
    if len(found.changes):
        lines += [
            f"Steps or runs in each of two conditions to show a change (two-sided, "
            f"{100.0 * alpha:g} %, power {100.0 * power:g} %):",
            _lined(found.changes, _CHANGES),
            "",
        ]
    return "\n".join([*lines, *(f"- {limit}" for limit in LIMITS), ""])


def _lined(table: "pd.DataFrame", columns: tuple[tuple[str, str], ...]) -> str:
    """A table as text: each column as wide as it must be."""
    rows = [[title for _, title in columns]]
    for values in table[[name for name, _ in columns]].to_numpy(dtype=object):
        rows.append(
            [value if isinstance(value, str) else _number(float(value)) for value in values]
        )
    widths = [max(len(row[k]) for row in rows) for k in range(len(columns))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if k < 2 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )


def _number(value: float) -> str:
    if value != value:
        return "-"
    if value in (float("inf"), float("-inf")):
        return "too many"
    return f"{value:.0f}" if value == round(value) and abs(value) >= 1.0 else f"{value:.3g}"
