from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from imuproc.core.columns import STEP_COLUMNS
from imuproc.core.errors import ArchiveError, SessionError
from imuproc.results.columns import PHASE_COLUMNS
from imuproc.results.squad_tables import read_squad
from imuproc.results.tables import (
    PHASES_PARQUET,
    RUNS_CSV,
    STEPS_PARQUET,
    join_steps,
    write_parquet,
)
from tests.report.fake_squad import REASON, sprint, squad_runs_by_hand, write_squad

KEPT = Path(__file__).resolve().parents[1] / "archive" / "kept" / "schema-1.h5"


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return write_squad(tmp_path / "out")


def test_every_run_comes_back_with_its_figures(out: Path) -> None:
    tables = read_squad(out)
    written = [summary for summary, _ in squad_runs_by_hand()]
    assert [run.run for run in tables.runs] == [run.run for run in written]
    for back, before in zip(tables.runs, written, strict=True):
        assert (back.group, back.start, back.distance_m) == (before.group, "three-point", 30.0)
        assert back.counts == before.counts
        assert back.flag_names() == before.flag_names()
        assert back.phases == before.phases
        for name, figure in before.figures.items():
            of_parts = name.startswith("mean_") and "_u" in name  # in CSV only, so rounded
            np.testing.assert_allclose(back.figures[name], figure, atol=6e-4 if of_parts else 0.0)
    assert (tables.runs[4].status, tables.runs[4].reason) == ("failed", REASON)
    assert tables.notes == ()


def test_an_archive_does_as_well(tmp_path: Path) -> None:
    tables = read_squad(KEPT)
    done, failed = tables.runs
    assert (done.athlete, done.run, done.status) == ("R07", "R07-01", "done")
    assert done.counts["steps"] == len(tables.steps["R07-01"]) > 0
    assert done.figures["distance_covered_m"] > 1.0
    assert (failed.run, failed.status) == ("R07-02", "failed")
    assert failed.reason == "no sprint steps found"


def test_where_the_tables_are_not_whole_the_archive_is_read_and_that_is_told(out: Path) -> None:
    (out / RUNS_CSV).unlink()
    (out / "session.h5").write_bytes(KEPT.read_bytes())
    tables = read_squad(out)
    assert tables.runs[0].run == "R07-01"
    assert "runs.csv: is missing; shown is what session.h5 holds" in tables.notes[0]


def test_no_such_folder(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"none: found nothing there; allowed: the output"):
        read_squad(tmp_path / "none")


def test_a_folder_of_something_else(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match="is no output folder of `imuproc process`"):
        read_squad(tmp_path)


def test_a_file_of_something_else(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(ArchiveError, match=r"notes\.txt"):
        read_squad(tmp_path / "notes.txt")


@pytest.mark.parametrize("name", [RUNS_CSV, STEPS_PARQUET])
def test_a_table_that_is_missing(out: Path, name: str) -> None:
    (out / name).unlink()
    with pytest.raises(SessionError, match=f"{name}: is missing; run the same `imuproc process`"):
        read_squad(out)


@pytest.mark.parametrize("keep", [0, 7, 200, -1])
@pytest.mark.parametrize("name", [RUNS_CSV, STEPS_PARQUET, PHASES_PARQUET])
def test_a_table_cut_off_anywhere_is_noticed(out: Path, name: str, keep: int) -> None:
    whole = (out / name).read_bytes()
    # The last line of the run table ends with an empty cell: only its line end can be lost
    # without a trace, so two bytes are cut there.
    (out / name).write_bytes(whole[: keep if keep >= 0 else len(whole) - 2])
    with pytest.raises(SessionError, match=name):
        read_squad(out)


def test_a_step_table_with_another_number_in_it_is_noticed(out: Path) -> None:
    path = out / STEPS_PARQUET
    columns = pq.read_metadata(path).row_group(0)
    lengths = next(
        columns.column(n)
        for n in range(columns.num_columns)
        if columns.column(n).path_in_schema == "step_length_m_u"
    )
    damaged = bytearray(path.read_bytes())
    damaged[lengths.data_page_offset + lengths.total_compressed_size - 3] ^= 1
    path.write_bytes(damaged)
    with pytest.raises(SessionError, match="cannot be read or is not whole"):
        read_squad(out)


def test_a_folder_without_rights(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("imuproc.results.squad_tables.os.access", lambda *_: False)
    with pytest.raises(SessionError, match="cannot be read, this user has no right to"):
        read_squad(out)


def test_a_run_table_cut_off_between_two_lines_is_noticed(out: Path) -> None:
    lines = (out / RUNS_CSV).read_text(encoding="utf-8").splitlines(keepends=True)
    (out / RUNS_CSV).write_text("".join(lines[:-1]), encoding="utf-8")
    with pytest.raises(SessionError, match="are not of the same runs"):
        read_squad(out)


def test_tables_of_two_processes_are_not_taken_for_one(out: Path) -> None:
    tables = [steps.copy() for _, steps in squad_runs_by_hand() if steps is not None]
    tables[0]["contact_time_s"] += 0.002
    write_parquet(out / STEPS_PARQUET, join_steps(tables), STEP_COLUMNS)
    with pytest.raises(SessionError, match="line 2: mean_contact_time_s does not go with the step"):
        read_squad(out)


def test_steps_of_a_run_that_the_run_table_lacks(out: Path) -> None:
    tables = [steps for _, steps in squad_runs_by_hand() if steps is not None]
    extra = sprint("R09", "R09-02", 8.0)
    write_parquet(out / STEPS_PARQUET, join_steps([*tables, extra]), STEP_COLUMNS)
    with pytest.raises(SessionError, match="are not of the same runs"):
        read_squad(out)


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [
        (",done,sprint,16,", ",maybe,sprint,16,", "line 2: found status 'maybe'; allowed: done"),
        (",done,sprint,16,", ",done,sprint,many,", "line 2: found 'many' as steps; allowed: a num"),
        ("session,athlete,", "session,name,", "runs.csv: has no column athlete"),
    ],
)
def test_a_run_table_changed_by_hand(out: Path, was: str, now: str, told: str) -> None:
    text = (out / RUNS_CSV).read_text(encoding="utf-8")
    assert was in text
    (out / RUNS_CSV).write_text(text.replace(was, now), encoding="utf-8")
    with pytest.raises(SessionError, match=told):
        read_squad(out)


def test_tables_of_an_earlier_version_lack_columns_but_can_be_read(out: Path) -> None:
    rows = [line.split(",") for line in (out / RUNS_CSV).read_text(encoding="utf-8").splitlines()]
    assert rows[0][8] == "group"
    text = "".join(",".join(row[:8] + row[9:]) + "\n" for row in rows)
    (out / RUNS_CSV).write_text(text, encoding="utf-8")
    assert [run.group for run in read_squad(out).runs] == [None] * 6


def test_a_folder_of_a_former_version_has_no_phases(out: Path) -> None:
    (out / PHASES_PARQUET).unlink()
    tables = read_squad(out)
    assert all(run.phases == () for run in tables.runs)
    assert tables.notes == ()


def test_phases_of_another_process_are_not_taken_for_those_of_these_steps(out: Path) -> None:
    table = pq.read_table(out / PHASES_PARQUET).to_pandas()
    table.loc[0, "steps"] += 1
    write_parquet(out / PHASES_PARQUET, table, PHASE_COLUMNS)
    with pytest.raises(SessionError, match=r"line 2: its phases in phases\.parquet do not go with"):
        read_squad(out)


def test_a_table_of_something_else_is_no_phase_table(out: Path) -> None:
    (out / PHASES_PARQUET).write_bytes((out / STEPS_PARQUET).read_bytes())
    with pytest.raises(SessionError, match="has no column 'n_contact_time'; is it a phase table"):
        read_squad(out)
