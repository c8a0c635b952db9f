"""Step table, run table and phase table as files: CSV for people, Parquet for programs."""

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from imuproc.core.columns import STEP_COLUMNS, Column
from imuproc.files.text import escape_formula, format_fixed
from imuproc.files.whole import replace_file
from imuproc.results.columns import PHASE_COLUMNS, RUN_COLUMNS, sd_name
from imuproc.results.means import mean_columns
from imuproc.results.summary import RunSummary

STEPS_CSV: Final = "steps.csv"
STEPS_PARQUET: Final = "steps.parquet"
STEPS_XLSX: Final = "steps.xlsx"
REPORT_FOLDER: Final = "report"
RUNS_CSV: Final = "runs.csv"
PHASES_CSV: Final = "phases.csv"
PHASES_PARQUET: Final = "phases.parquet"

DECIMALS: Final[dict[str, int]] = {"s": 6, "Hz": 4, "deg": 3, "m": 4, "m/s": 4, "%": 2}
"""Decimals in CSV by unit: each keeps a hundredth of the smallest uncertainty to be expected."""

_FREE_TEXT: Final = frozenset({"reason", "group"})
"""Columns that hold more than ids and our own words."""


def joined_steps(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The step tables of many runs under each other, columns in their fixed order."""
    filled = [table for table in tables if len(table)]
    if not filled:
        return _build_table([], STEP_COLUMNS)
    names = list(STEP_COLUMNS)
    joined = pd.concat([table.reindex(columns=names) for table in filled], ignore_index=True)
    return _set_types(joined, STEP_COLUMNS)


def runs_table(summaries: Sequence[RunSummary]) -> pd.DataFrame:
    """The run table: a row for each run, also for those that failed, columns in their order.

    Missing figures are NaN, missing counts NA, missing words empty.
    """
    # A failed run counts nothing, not 0.
    return _build_table([summary.row() for summary in summaries], RUN_COLUMNS, count="Int64")


def phases_table(summaries: Sequence[RunSummary]) -> pd.DataFrame:
    """The phase table: a row for each phase of each run, columns in their order."""
    rows = []
    for run in summaries:
        ids = {"session": run.session, "athlete": run.athlete, "run": run.run}
        for phase in run.phases:
            counts, figures = mean_columns(phase.means)
            spread = {sd_name(figure): mean.sd for figure, mean in phase.means.items()}
            own = {"phase": phase.phase, "steps": phase.steps}
            rows.append({**ids, **own, **counts, **figures, **spread})
    return _build_table(rows, PHASE_COLUMNS)


def _build_table(
    rows: Sequence[Mapping[str, Any]], columns: Mapping[str, Column], count: str = "int64"
) -> pd.DataFrame:
    whole = pd.DataFrame(list(rows), columns=list(columns), dtype=object)
    return _set_types(whole, columns, count)


def _set_types(
    table: pd.DataFrame, columns: Mapping[str, Column], count: str = "int64"
) -> pd.DataFrame:
    words = [name for name, column in columns.items() if column.kind in ("key", "flags")]
    table[words] = table[words].fillna("")
    dtypes = {"count": count, "figure": "float64", "key": "str", "flags": "str"}
    return table.astype({name: dtypes[column.kind] for name, column in columns.items()})


def write_csv(path: Path, table: pd.DataFrame, columns: Mapping[str, Column]) -> None:
    """Write a table as CSV: UTF-8, comma, point, what is missing empty.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole.
    table : DataFrame
        As :func:`joined_steps`, :func:`runs_table` or :func:`phases_table` gives it.
    columns : mapping from str to Column
        Its columns by name.
    """
    cells = [_format_cells(columns[name], table[name]) for name in table.columns]
    with replace_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(table.columns)
        writer.writerows(zip(*cells, strict=True))


def _format_cells(column: Column, values: "pd.Series[Any]") -> list[str]:
    if column.kind == "figure":
        decimals = DECIMALS[column.unit]
        return [format_fixed(float(value), decimals) for value in values]
    if column.kind == "count":
        return ["" if pd.isna(value) else str(value) for value in values]
    safe = escape_formula if column.name in _FREE_TEXT else str
    return [safe(value) for value in values]


def write_parquet(path: Path, table: pd.DataFrame, columns: Mapping[str, Column]) -> None:
    """Write a table as Parquet: full precision, unit and meaning with each column.

    Parameters
    ----------
    path, table, columns
        As for :func:`write_csv`.
    """
    written = pa.Table.from_pandas(table, preserve_index=False)
    fields = [
        field.with_type(
            pa.string() if pa.types.is_large_string(field.type) else field.type
        ).with_metadata({"unit": columns[field.name].unit, "meaning": columns[field.name].meaning})
        for field in written.schema
    ]
    with replace_file(path) as temporary:
        pq.write_table(written.cast(pa.schema(fields)), temporary, write_page_checksum=True)
