"""Step table and run table as files: CSV for people, Parquet for programs."""

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from imuproc.core.columns import STEP_COLUMNS, Column, step_table_columns
from imuproc.files.text import fixed, spreadsheet_safe
from imuproc.files.whole import replaced_file
from imuproc.results.summary import RUN_COLUMNS, RunSummary

STEPS_CSV: Final = "steps.csv"
STEPS_PARQUET: Final = "steps.parquet"
STEPS_XLSX: Final = "steps.xlsx"
REPORT_FOLDER: Final = "report"
RUNS_CSV: Final = "runs.csv"

DECIMALS: Final[dict[str, int]] = {"s": 6, "Hz": 4, "deg": 3, "m": 4, "m/s": 4, "%": 2}
"""Decimals in CSV by unit: each keeps a hundredth of the smallest uncertainty to be expected."""


RUN_COLUMN: Final[dict[str, Column]] = {column.name: column for column in RUN_COLUMNS}


def joined_steps(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The step tables of many runs under each other, columns in their fixed order."""
    names = step_table_columns()
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame({name: pd.Series(dtype=_dtype(name)) for name in names})
    joined = pd.concat([table.reindex(columns=names) for table in filled], ignore_index=True)
    words = [name for name in names if _dtype(name) == "str"]
    joined[words] = joined[words].fillna("")
    return joined.astype({name: _dtype(name) for name in names})


def _dtype(name: str) -> str:
    if name == "step":
        return "int64"
    return "float64" if STEP_COLUMNS[name].kind == "figure" else "str"


def write_steps_csv(path: Path, steps: pd.DataFrame) -> None:
    """Write the step table as CSV: UTF-8, comma, point, a missing figure empty.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole.
    steps : DataFrame
        As :func:`joined_steps` gives it.
    """
    cells = [_text_cells(STEP_COLUMNS[name], steps[name]) for name in steps.columns]
    _write_csv(path, list(steps.columns), list(zip(*cells, strict=True)))


def _text_cells(column: Column, values: "pd.Series[float]") -> list[str]:
    if column.kind != "figure":
        return [str(value) for value in values]  # ids, counts and our own words: nothing free
    decimals = DECIMALS[column.unit]
    return [fixed(float(value), decimals) for value in values]


def write_steps_parquet(path: Path, steps: pd.DataFrame) -> None:
    """Write the step table as Parquet: full precision, unit and meaning with each column.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole.
    steps : DataFrame
        As :func:`joined_steps` gives it.
    """
    table = pa.Table.from_pandas(steps, preserve_index=False)
    fields = [
        field.with_type(
            pa.string() if pa.types.is_large_string(field.type) else field.type
        ).with_metadata(
            {"unit": STEP_COLUMNS[field.name].unit, "meaning": STEP_COLUMNS[field.name].meaning}
        )
        for field in table.schema
    ]
    table = table.cast(pa.schema(fields))
    with replaced_file(path) as temporary:
        pq.write_table(table, temporary, write_page_checksum=True)


def write_runs_csv(path: Path, summaries: Sequence[RunSummary]) -> None:
    """Write the run table as CSV: one row per run, also for those that failed.

    Parameters
    ----------
    path : Path
        Replaced when the new file is whole.
    summaries : sequence of RunSummary
    """
    rows = [[_run_cell(summary, column) for column in RUN_COLUMNS] for summary in summaries]
    _write_csv(path, [column.name for column in RUN_COLUMNS], rows)


def _run_cell(summary: RunSummary, column: Column) -> str:
    value = summary.value(column.name)
    if value is None:
        return ""
    if column.name in {"reason", "group"}:
        return spreadsheet_safe(str(value))
    if isinstance(value, float):
        return fixed(value, DECIMALS[column.unit])
    return str(value)


def _write_csv(path: Path, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    with replaced_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)
