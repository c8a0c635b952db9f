"""``imuproc report`` as a user runs it."""

import json
from pathlib import Path

from tests.archive.made_archives import small_archive
from tests.cli.command import Command


def results(tmp_path: Path) -> Path:
    (tmp_path / "out" / "runs").mkdir(parents=True)
    small_archive(tmp_path / "out" / "runs" / "R07-01.h5")
    return tmp_path / "out"


def test_the_report_is_made_from_archives_alone(imuproc: Command, tmp_path: Path) -> None:
    out = results(tmp_path)
    seen = imuproc("report", out, "--jobs", 1)
    assert seen.code == 0
    assert "1 page of runs" in seen.out
    assert f"Open: {(out / 'report' / 'index.html').as_posix()}" in seen.out
    assert (out / "report" / "R07-01.html").is_file()
    assert (out / "report" / "R07-01.png").is_file()
    assert (out / "steps.xlsx").is_file()


def test_the_files_are_told_as_json(imuproc: Command, tmp_path: Path) -> None:
    seen = imuproc("report", results(tmp_path), "-j", 1, "--json")
    files = json.loads(seen.out)
    assert set(files) == {
        "report/index.html",
        "report/R07-01.html",
        "report/R07-01.png",
        "steps.xlsx",
    }
    assert all(Path(path).is_file() for path in files.values())


def test_a_folder_without_results_is_a_wrong_request(imuproc: Command, tmp_path: Path) -> None:
    seen = imuproc("report", tmp_path)
    assert seen.code == 2
    assert seen.err.startswith("imuproc: ")
    assert "give the folder that `imuproc process` wrote to with -o" in seen.err


def test_targets_that_cannot_be_read_are_a_wrong_request(imuproc: Command, tmp_path: Path) -> None:
    seen = imuproc("report", results(tmp_path), "--targets", tmp_path / "none.toml")
    assert seen.code == 2
    assert "none.toml" in seen.err


def test_the_tables_of_the_runs_are_printed_when_asked_for(
    imuproc: Command, tmp_path: Path
) -> None:
    out = results(tmp_path)
    (out / "runs.csv").write_text("athlete,run,status,reason\nR07,R07-02,failed,no steps\n")
    seen = imuproc("report", out, "-j", 1, "--table")
    assert "run R07-01, three-point start, 30 m, 6 steps" in seen.out
    assert "Not processed: no steps" in seen.out
    assert "2 runs: 1 done, 1 failed (R07-02)." in seen.out
