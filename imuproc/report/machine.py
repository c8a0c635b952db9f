"""The summary of a session as JSON, for scripts."""

import json
from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious, is_told
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag, Value
from imuproc.files.text import clean_text
from imuproc.results.squad import SquadRun
from imuproc.results.summary import RunSummary


def summary_json(session: str, summaries: Sequence[RunSummary], files: Mapping[str, str]) -> str:
    """One JSON object: the runs with their figures and flags, and where the files are.

    Parameters
    ----------
    session : str
        Session id.
    summaries : sequence of RunSummary
    files : mapping from str to str
        Name of each file written and its path.

    Returns
    -------
    str
        ``schema`` is the version of this form. A missing figure is null.
    """
    content = {
        "schema": 1,
        "session": session,
        **_count_rows(summaries),
        "runs": [_describe_run(summary) for summary in summaries],
        "files": dict(files),
    }
    return json.dumps(content, indent=2, allow_nan=False)


def squad_json(runs: Sequence[SquadRun], phase: str | None, notes: Sequence[str]) -> str:
    """One JSON object: a squad's runs in the order in which they are to be shown.

    Parameters
    ----------
    runs : sequence of SquadRun
    phase : str or None
        Phase that counts and figures are over; None: the whole effort.
    notes : sequence of str
        What a reader has to know about where they come from.

    Returns
    -------
    str
        ``schema`` is the version of this form. A missing figure is null; ``surely_differ`` names
        the figures whose left-right difference is more than twice its standard uncertainty.
    """
    content = {
        "schema": 1,
        "phase": phase,
        **_count_rows([run.summary for run in runs]),
        "runs": [_squad_run(run) for run in runs],
        "notes": [clean_text(note) for note in notes],
    }
    return json.dumps(content, indent=2, allow_nan=False)


def _count_rows(summaries: Sequence[RunSummary]) -> dict[str, int]:
    failed = sum(summary.status == "failed" for summary in summaries)
    return {"runs_done": len(summaries) - failed, "runs_failed": failed}


def _squad_run(run: SquadRun) -> dict[str, Any]:
    row: dict[str, Any] = run.summary.row()
    row = {name: clean_text(cell) if isinstance(cell, str) else cell for name, cell in row.items()}
    row["reason"] = row["reason"] or None
    names = [name for name in run.summary.flag_names() if is_told(name, "json")]
    row["flags"] = [clean_text(name) for name in names]
    row |= {"best": run.best, "last": run.last}
    row["surely_differ"] = list(run.summary.surely_differ())
    return row


def _describe_run(summary: RunSummary) -> dict[str, Any]:
    row: dict[str, Any] = summary.row()
    row["reason"] = clean_text(summary.reason) or None
    row["flags"] = [
        _describe_flag(raised) for raised in summary.flags if is_told(raised.name, "json")
    ]
    return row


def flag_data(raised: RaisedFlag | None) -> dict[str, Any]:
    """Where a flag stands and what was found, as JSON takes it; null where there is none.

    ``span`` ends in null where it goes on beyond what is told about. Units stand in the names of
    the values.
    """
    if raised is None:
        return dict.fromkeys(("site", "step", "span", "values"))
    span_s = raised.span_s
    return {
        "site": raised.site or None,
        "step": raised.step,
        "span": span_s and {"from_s": _to_number(span_s[0]), "to_s": _to_number(span_s[1])},
        "values": {name: _to_value(value) for name, value in raised.values.items()},
    }


def _to_value(value: Value) -> Value | None:
    return clean_text(value) if isinstance(value, str) else _to_number(value)


def _to_number(value: float) -> float | None:
    return value if isfinite(value) else None


def _describe_flag(raised: RaisedFlag) -> dict[str, Any]:
    flag = FLAGS.get(raised.name)
    return {
        "name": raised.name,
        **flag_data(raised),
        "detail": clean_text(describe_flag(raised)) or None,
        "serious": is_serious(raised.name) if flag else None,
        "sentence": flag.sentence if flag else None,
        "advice": flag.advice if flag else None,
    }
