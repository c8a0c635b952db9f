"""The tables of a study as files: CSV for people and spreadsheets, JSON for programs."""

import csv
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from imuproc.agreement.study import ComparedRun, StudyResult
from imuproc.files.text import clean_text, escape_formula
from imuproc.files.whole import replace_file

AGREEMENT_CSV: Final = "agreement.csv"
AGREEMENT_JSON: Final = "agreement.json"
PAIRS_CSV: Final = "pairs.csv"
DETECTION_CSV: Final = "detection.csv"
CLOCKS_CSV: Final = "clocks.csv"
EXCLUSIONS_CSV: Final = "exclusions.csv"

_CLOCK_NAMES: Final = {
    "source": "how_found",
    "drift": "drift_s_per_s",
    "drift_u": "drift_u_s_per_s",
}


def tables_of(result: StudyResult) -> dict[str, pd.DataFrame]:
    """Every table of a study by its file name; without a compared run only that of exclusions."""
    exclusions = {EXCLUSIONS_CSV: result.exclusions}
    found = result.agreement
    if found is None:
        return exclusions
    total = found.detection_total.assign(session="", athlete="", run="all runs")
    return {
        AGREEMENT_CSV: found.agreement,
        PAIRS_CSV: found.paired,
        DETECTION_CSV: pd.concat([total, found.detection], ignore_index=True)[
            [*found.detection.columns]
        ],
        CLOCKS_CSV: found.clocks.rename(columns=_CLOCK_NAMES),
        **exclusions,
    }


def write_tables(folder: Path, result: StudyResult) -> dict[str, str]:
    """Write every table as CSV, and all but the pairs in one JSON.

    Parameters
    ----------
    folder : Path
        Must exist; each file is replaced when the new one is whole.
    result : StudyResult

    Returns
    -------
    dict from str to str
        Name of each file and its path.
    """
    written = {}
    for name, table in tables_of(result).items():
        _write_csv(folder / name, table)
        written[name] = str(folder / name)
    with replace_file(folder / AGREEMENT_JSON) as temporary:
        temporary.write_text(study_json(result) + "\n", encoding="utf-8")
    written[AGREEMENT_JSON] = str(folder / AGREEMENT_JSON)
    return written


def study_json(result: StudyResult, files: Mapping[str, str] | None = None) -> str:
    """One JSON object with every table but the pairs, the runs, and what was not compared.

    Parameters
    ----------
    result : StudyResult
    files : mapping from str to str, optional
        Files that were written.

    Returns
    -------
    str
        ``schema`` is the version of this form. Statistics are in the unit that their row names;
        what is not known is null.
    """
    tables = tables_of(result)
    content: dict[str, Any] = {
        "schema": 1,
        "study": result.study.id,
        "note": clean_text(result.study.note or "") or None,
        "figures_asked_for": result.study.figures,
        "runs_compared": len(result.compared),
        "runs_not_compared": len(result.failed),
        "runs": [_list_run(one) for one in result.compared],
        "not_compared": [
            {"run": one.asked.id, "reference": one.asked.request.source, "reason": one.reason}
            for one in result.failed
        ],
    }
    for name, table in tables.items():
        if name != PAIRS_CSV:
            content[name.removesuffix(".csv")] = _to_records(table)
    content["notes"] = (
        [] if result.agreement is None else list(map(clean_text, result.agreement.notes))
    )
    if files is not None:
        content["files"] = dict(files)
    return json.dumps(content, indent=2, allow_nan=False)


def _list_run(one: ComparedRun) -> dict[str, Any]:
    reference, result = one.reference, one.result
    return {
        "session": result.session,
        "athlete": result.athlete,
        "run": result.run,
        "reference": reference.source,
        "reference_kind": reference.kind,
        "resolution_s": _to_json_value(reference.resolution_s),
        "threshold_n": reference.threshold_n,
        "contacts": len(reference),
        "steps": len(result.steps),
        "rate_hz": _to_json_value(result.rate_hz),
        "sensors": list(result.sites),
        "imuproc": result.version or None,
        "note": clean_text(one.asked.note or "") or None,
    }


def _to_records(table: pd.DataFrame) -> list[dict[str, Any]]:
    names = [str(name) for name in table.columns]
    return [
        {name: _to_json_value(cell) for name, cell in zip(names, row, strict=True)}
        for row in table.itertuples(index=False, name=None)
    ]


def _to_json_value(cell: object) -> Any:
    """A cell as JSON has it."""
    if isinstance(cell, (bool, np.bool_)):
        return bool(cell)
    if isinstance(cell, (int, np.integer)):
        return int(cell)
    if isinstance(cell, (float, np.floating)):
        return float(cell) if math.isfinite(cell) else None
    return None if cell is None else clean_text(str(cell))


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    with replace_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(table.columns)
        writer.writerows(map(_format_cells, table.itertuples(index=False, name=None)))


def _format_cells(row: tuple[Any, ...]) -> list[str]:
    return [_format_cell(cell) for cell in row]


def _format_cell(cell: object) -> str:
    plain = _to_json_value(cell)
    if plain is None:
        return ""
    if isinstance(plain, float):
        return f"{plain:.10g}"
    return escape_formula(plain) if isinstance(plain, str) else str(plain)
