import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from imuproc.core.columns import STEP_COLUMNS, step_table_columns
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.results import tables
from imuproc.results.columns import RUN_COLUMNS
from imuproc.results.summarising import Measured, summarise_run
from imuproc.results.summary import failed_run
from imuproc.results.tables import joined_steps, runs_table, write_csv, write_parquet
from tests.report.fake_result import fake_steps


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_has_every_column_in_order_and_empty_where_missing(tmp_path: Path) -> None:
    steps = joined_steps([fake_steps(5), fake_steps(4, run="R07-02")])
    write_csv(tmp_path / "steps.csv", steps, STEP_COLUMNS)
    rows = rows_of(tmp_path / "steps.csv")
    assert list(rows[0]) == step_table_columns()
    assert [row["run"] for row in rows] == ["R07-01"] * 5 + ["R07-02"] * 4
    assert rows[4]["step_time_s"] == ""
    assert rows[0]["step_length_m"] == ""
    assert rows[0]["flags"] == ""
    assert rows[0]["touchdown_s"] == "10.000000"
    assert rows[0]["shin_angle_touchdown_deg"] == "46.000"
    assert "nan" not in (tmp_path / "steps.csv").read_text(encoding="utf-8").lower()


def test_csv_loses_nothing_against_the_uncertainty(tmp_path: Path) -> None:
    steps = joined_steps([fake_steps(9)])
    write_csv(tmp_path / "steps.csv", steps, STEP_COLUMNS)
    back = pd.read_csv(tmp_path / "steps.csv")
    for name in ("touchdown_s", "contact_time_s", "shin_angle_touchdown_deg"):
        lost = np.abs(back[name] - steps[name])
        assert (lost < 0.002 * steps[f"{name}_u"]).all()


def test_parquet_has_full_precision_types_and_units(tmp_path: Path) -> None:
    steps = joined_steps([fake_steps(5)])
    write_parquet(tmp_path / "steps.parquet", steps, STEP_COLUMNS)
    table = pq.read_table(tmp_path / "steps.parquet")
    assert table.column_names == step_table_columns()
    assert table["contact_time_s"].to_pylist() == steps["contact_time_s"].tolist()
    assert table["step_time_s"].to_pylist()[-1] is None
    metadata = table.schema.field("shin_angle_touchdown_deg_u").metadata
    assert metadata[b"unit"] == b"deg"
    assert str(table.schema.field("athlete").type) == "string"
    assert str(table.schema.field("step").type) == "int64"


def test_no_steps_at_all_still_gives_whole_tables(tmp_path: Path) -> None:
    steps = joined_steps([])
    write_csv(tmp_path / "steps.csv", steps, STEP_COLUMNS)
    write_parquet(tmp_path / "steps.parquet", steps, STEP_COLUMNS)
    assert (tmp_path / "steps.csv").read_text(encoding="utf-8") == (
        ",".join(step_table_columns()) + "\n"
    )
    assert pq.read_table(tmp_path / "steps.parquet").num_rows == 0
    assert str(pq.read_table(tmp_path / "steps.parquet").schema.field("speed_mps").type) == "double"


def test_same_steps_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write_csv(tmp_path / f"{name}.csv", joined_steps([fake_steps(5)]), STEP_COLUMNS)
        write_parquet(tmp_path / f"{name}.parquet", joined_steps([fake_steps(5)]), STEP_COLUMNS)
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()


def test_runs_csv_has_a_row_for_every_run_and_the_reason_of_failure(tmp_path: Path) -> None:
    athlete, run = Athlete(id="R07"), Run(id="R07-01", start="blocks", distance_m=60)
    flags = (RaisedFlag("no_standing_after"), RaisedFlag("gap"))
    done = summarise_run("s", athlete, run, Measured(fake_steps(9), flags))
    failed = failed_run("s", athlete, Run(id="R07-02"), "=cmd()\nsecond line, with comma")
    write_csv(tmp_path / "runs.csv", runs_table([done, failed]), RUN_COLUMNS)
    rows = rows_of(tmp_path / "runs.csv")
    assert list(rows[0]) == list(RUN_COLUMNS)
    assert [row["status"] for row in rows] == ["done", "failed"]
    assert rows[0]["flags"] == "no_standing_after;gap"
    assert rows[0]["steps"] == "9"
    assert rows[0]["mean_step_time_s"] == "0.230000"
    assert rows[1]["reason"] == "'=cmd() second line, with comma"
    assert rows[1]["mean_step_time_s"] == ""


def test_a_group_is_free_text_and_never_a_formula(tmp_path: Path) -> None:
    athlete = Athlete(id="R07", group="=1+1\nsprint")
    failed = failed_run("s", athlete, Run(id="R07-01"), "")
    write_csv(tmp_path / "runs.csv", runs_table([failed]), RUN_COLUMNS)
    assert rows_of(tmp_path / "runs.csv")[0]["group"] == "'=1+1 sprint"


def test_a_file_that_cannot_be_finished_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "steps.parquet"
    write_parquet(path, joined_steps([fake_steps(5)]), STEP_COLUMNS)
    before = path.read_bytes()

    def half(_table: object, where: Path, **_options: bool) -> None:
        where.write_bytes(b"half")
        raise OSError("disk full")

    monkeypatch.setattr(tables.pq, "write_table", half)
    with pytest.raises(OSError, match="disk full"):
        write_parquet(path, joined_steps([fake_steps(9)]), STEP_COLUMNS)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["steps.parquet"]
