"""``imuproc compare``: two runs in the terminal and on a page."""

from pathlib import Path

from tests.cli.command import Command
from tests.report.pages.made_report import DOUBTFUL, FAILED, SOUND
from tests.report.pages.test_writing import Read, small_results


def test_two_runs_stand_side_by_side(imuproc: Command, tmp_path: Path) -> None:
    folder = small_results(tmp_path / "out", SOUND, DOUBTFUL)
    seen = imuproc("compare", folder, SOUND, DOUBTFUL)
    assert seen.code == 0
    assert "contact time (ms)" in seen.out
    assert "Difference: second minus first" in " ".join(seen.out.split())
    page = folder / "report" / f"{SOUND}__{DOUBTFUL}.html"
    assert f"Written: {page.as_posix()}" in seen.out
    read = Read(page)
    assert read.loads == []
    words = "".join(read.words)
    assert "Phase by phase" in words
    assert "In doubt:" in words


def test_a_run_that_is_not_there_is_named_with_the_nearest(
    imuproc: Command, tmp_path: Path
) -> None:
    folder = small_results(tmp_path / "out", SOUND)
    seen = imuproc("compare", folder, SOUND, SOUND.replace("-", ""))
    assert seen.code == 2
    assert f"did you mean '{SOUND}'?" in seen.err
    assert not (folder / "report").exists() or not list((folder / "report").glob("*__*"))
    assert imuproc("compare", folder, SOUND, FAILED).code == 2
    assert imuproc("compare", tmp_path / "none", SOUND, SOUND).code == 2
