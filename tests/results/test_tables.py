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
from imuproc.results.columns import KEY_FIGURES, PHASE_COLUMNS, RUN_COLUMNS
from imuproc.results.summarising import Measured, summarise_run
from imuproc.results.summary import RunSummary, make_failed_run
from imuproc.results.tables import (
    build_phases_table,
    build_runs_table,
    join_steps,
    write_csv,
    write_parquet,
)
from tests.report.fake_result import fake_parts, fake_steps


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_has_every_column_in_order_and_empty_where_missing(tmp_path: Path) -> None:
    steps = join_steps([fake_steps(5), fake_steps(4, run="R07-02")])
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
    steps = join_steps([fake_steps(9)])
    write_csv(tmp_path / "steps.csv", steps, STEP_COLUMNS)
    back = pd.read_csv(tmp_path / "steps.csv")
    for name in ("touchdown_s", "contact_time_s", "shin_angle_touchdown_deg"):
        lost = np.abs(back[name] - steps[name])
        assert (lost < 0.002 * steps[f"{name}_u"]).all()


def test_parquet_has_full_precision_types_and_units(tmp_path: Path) -> None:
    steps = join_steps([fake_steps(5)])
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
    steps = join_steps([])
    write_csv(tmp_path / "steps.csv", steps, STEP_COLUMNS)
    write_parquet(tmp_path / "steps.parquet", steps, STEP_COLUMNS)
    assert (tmp_path / "steps.csv").read_text(encoding="utf-8") == (
        ",".join(step_table_columns()) + "\n"
    )
    assert pq.read_table(tmp_path / "steps.parquet").num_rows == 0
    assert str(pq.read_table(tmp_path / "steps.parquet").schema.field("speed_mps").type) == "double"


def test_same_steps_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write_csv(tmp_path / f"{name}.csv", join_steps([fake_steps(5)]), STEP_COLUMNS)
        write_parquet(tmp_path / f"{name}.parquet", join_steps([fake_steps(5)]), STEP_COLUMNS)
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()


def test_runs_csv_has_a_row_for_every_run_and_the_reason_of_failure(tmp_path: Path) -> None:
    athlete, run = Athlete(id="R07"), Run(id="R07-01", start="blocks", distance_m=60)
    flags = (RaisedFlag("no_standing_after"), RaisedFlag("gap"))
    done = summarise_run("s", athlete, run, Measured(fake_steps(9), flags))
    failed = make_failed_run("s", athlete, Run(id="R07-02"), "=cmd()\nsecond line, with comma")
    write_csv(tmp_path / "runs.csv", build_runs_table([done, failed]), RUN_COLUMNS)
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
    failed = make_failed_run("s", athlete, Run(id="R07-01"), "")
    write_csv(tmp_path / "runs.csv", build_runs_table([failed]), RUN_COLUMNS)
    assert rows_of(tmp_path / "runs.csv")[0]["group"] == "'=1+1 sprint"


def test_a_file_that_cannot_be_finished_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "steps.parquet"
    write_parquet(path, join_steps([fake_steps(5)]), STEP_COLUMNS)
    before = path.read_bytes()

    def half(_table: object, where: Path, **_options: bool) -> None:
        where.write_bytes(b"half")
        raise OSError("disk full")

    monkeypatch.setattr(tables.pq, "write_table", half)
    with pytest.raises(OSError, match="disk full"):
        write_parquet(path, join_steps([fake_steps(9)]), STEP_COLUMNS)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["steps.parquet"]


# --- Phases and runs as tables --------------------------------------------------------------------


def two_runs() -> list[RunSummary]:
    """One of three phases, one that failed."""
    steps = fake_steps(9)
    steps["phase"] = ["drive"] * 4 + ["upright"] * 4 + ["slowing"]
    measured = Measured(steps, uncertainty=fake_parts(steps))
    done = summarise_run("s", Athlete(id="R07"), Run(id="R07-01"), measured)
    return [done, make_failed_run("s", Athlete(id="R07"), Run(id="R07-02"), "no gyroscope")]


def test_phases_csv_has_a_row_for_every_phase_and_none_for_a_run_that_failed(
    tmp_path: Path,
) -> None:
    write_csv(tmp_path / "phases.csv", build_phases_table(two_runs()), PHASE_COLUMNS)
    rows = rows_of(tmp_path / "phases.csv")
    assert list(rows[0]) == list(PHASE_COLUMNS)
    told = [(row["run"], row["phase"], row["steps"], row["n_step_time"]) for row in rows]
    assert told == [
        ("R07-01", "drive", "4", "4"),
        ("R07-01", "upright", "4", "4"),
        ("R07-01", "slowing", "1", "0"),
    ]
    assert rows[0]["mean_step_time_s"] == "0.230000"
    assert rows[0]["sd_step_time_s"] == "0.000000"
    # 0.6 of what is stated of each step stays, and a quarter of the rest's square: 3 ms here.
    expected_s = 0.003 * np.sqrt(0.36 + 0.64 / 4)
    assert rows[0]["mean_contact_time_s_u_repeat"] == f"{expected_s:.6f}"
    assert rows[2]["mean_step_time_s"] == rows[2]["sd_contact_time_s"] == ""


def test_phases_parquet_has_full_precision_units_and_meanings(tmp_path: Path) -> None:
    table = build_phases_table(two_runs())
    write_parquet(tmp_path / "phases.parquet", table, PHASE_COLUMNS)
    back = pq.read_table(tmp_path / "phases.parquet")
    assert back["mean_contact_time_s_u"].to_pylist() == table["mean_contact_time_s_u"].tolist()
    for name in back.column_names:
        told = back.schema.field(name).metadata
        assert told[b"unit"].decode() == PHASE_COLUMNS[name].unit
        assert told[b"meaning"].decode().endswith(".")
    assert str(back.schema.field("steps").type) == "int64"


def test_every_mean_of_a_phase_has_both_uncertainties_its_spread_and_its_count() -> None:
    for figure in KEY_FIGURES:
        unit, stem = STEP_COLUMNS[figure].unit, figure.rsplit("_", 1)[0]
        of_figure = [f"mean_{figure}", f"mean_{figure}_u", f"mean_{figure}_u_repeat"]
        assert [PHASE_COLUMNS[name].unit for name in (*of_figure, f"sd_{figure}")] == [unit] * 4
        assert PHASE_COLUMNS[f"n_{stem}"].unit == ""
        assert set(of_figure) <= set(RUN_COLUMNS)


def test_without_any_run_the_phase_table_is_whole_too(tmp_path: Path) -> None:
    write_csv(tmp_path / "phases.csv", build_phases_table([]), PHASE_COLUMNS)
    assert (tmp_path / "phases.csv").read_text("utf-8") == ",".join(PHASE_COLUMNS) + "\n"
    write_parquet(tmp_path / "phases.parquet", build_phases_table([]), PHASE_COLUMNS)
    assert str(pq.read_table(tmp_path / "phases.parquet").schema.field("phase").type) == "string"


def test_a_run_that_failed_counts_nothing_in_the_run_table() -> None:
    table = build_runs_table(two_runs())
    assert table["steps"].tolist() == [9, pd.NA]
    assert table["steps"].dtype == "Int64"
    assert np.isnan(table["mean_contact_time_s"][1])
    assert table["reason"].tolist() == ["", "no gyroscope"]
