"""Runs held to the strict rule: a serious flag on a run is a reason to fail it.

Archives do not depend on it: the same work, done once, can be told either way. Which flags count
is in :mod:`imuproc.core.flag_policy`.
"""

from collections.abc import Iterable
from dataclasses import replace

from imuproc.batch.outcome import Row
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import policy_of, select_run_flags
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag


def apply_strict_rule(rows: Iterable[Row]) -> list[Row]:
    """The rows with every run failed that carries a serious flag.

    Parameters
    ----------
    rows : iterable of Row

    Returns
    -------
    list of Row
        A failed run keeps its row and its flags, and has no figures. Where a stretch of a log was
        refused a failed row for the log comes before those of its runs.
    """
    out: list[Row] = []
    told: set[str] = set()
    for row in rows:
        serious = select_run_flags(row.summary.flags, "strict")
        several = row.summary.run != row.task
        refused = [flag for flag in serious if several and policy_of(flag.name).of_others]
        if refused and row.task not in told:
            told.add(row.task)
            out.append(_fail_row(row, row.task, refused))
        own = [flag for flag in serious if flag not in refused]
        out.append(_fail_row(row, row.summary.run, own) if own and not row.failed else row)
    return out


def _fail_row(row: Row, run: str, flags: list[RaisedFlag]) -> Row:
    summary = replace(
        row.summary,
        run=run,
        status="failed",
        reason=_explain_failure(flags),
        counts={},
        figures={},
        flags=tuple(flags),
        phases=(),
    )
    return Row(row.task, summary, None)


def _explain_failure(flags: list[RaisedFlag]) -> str:
    """Why, in words: each flag once, with its sensors, what it means and what to do."""
    parts = []
    for name in dict.fromkeys(flag.name for flag in flags):
        own = [flag for flag in flags if flag.name == name]
        sites = ", ".join(dict.fromkeys(flag.site for flag in own if flag.site))
        details = "; ".join(dict.fromkeys(filter(None, (describe_flag(flag) for flag in own))))
        where = f" ({sites})" if sites else ""
        what = f" [{details}]" if details else ""
        parts.append(f"{name}{where}: {FLAGS[name].sentence} {FLAGS[name].advice}{what}")
    return f"not accepted with --strict: {' '.join(parts)}"
