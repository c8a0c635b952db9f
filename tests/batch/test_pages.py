"""The report made along with the tables: new where work was done, never older than its archive."""

import shutil
from pathlib import Path

import pytest

from imuproc.batch.folder import output_folder
from imuproc.batch.pages import forget_pages
from imuproc.batch.processed import Processed
from imuproc.batch.session import process_tasks
from tests.batch.jobs import Watched, contents, request
from tests.session_folder import small_session


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return small_session(tmp_path / "session")


@pytest.fixture(scope="module")
def reported_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Processed]:
    """Session and results with their report, side by side in a folder; not to be changed."""
    folder = tmp_path_factory.mktemp("reported")
    return folder, reported(small_session(folder / "session"), folder / "out")


@pytest.fixture
def copied(reported_once: tuple[Path, Processed], tmp_path: Path) -> tuple[Path, Path]:
    """Session file and results of the same, to be changed: every file as old as it was."""
    shutil.copytree(reported_once[0], tmp_path, dirs_exist_ok=True)
    return tmp_path / "session" / "session.toml", tmp_path / "out"


def reported(session: Path, out: Path, **more: object) -> Processed:
    asked = request(session, report=True, **more)
    with output_folder(out, asked.tasks) as folder:
        return process_tasks(asked, folder, Watched())


def pages(out: Path) -> dict[str, int]:
    return {path.stem: path.stat().st_mtime_ns for path in (out / "report").glob("R07-0?.html")}


def test_pages_go_with_the_runs_that_are_worked_on(tmp_path: Path) -> None:
    report = tmp_path / "report"
    report.mkdir()
    for name in ("R07-01.html", "R07-01.png", "R07-01_2.html", "R07-011.html", "index.html"):
        (report / name).write_text("", encoding="utf-8")
    forget_pages(tmp_path, ["R07-01"])
    assert sorted(path.name for path in report.iterdir()) == ["R07-011.html", "index.html"]


def test_only_pages_of_new_work_are_made_and_a_lost_one_is_made_again(
    reported_once: tuple[Path, Processed], copied: tuple[Path, Path]
) -> None:
    done, (session, out) = reported_once[1], copied
    assert done.complaints == ()
    assert "report/index.html" in done.files
    first, whole = pages(out), contents(out)
    assert sorted(first) == ["R07-01", "R07-02", "R07-03"]
    (out / "runs" / "R07-02.h5").unlink()
    (out / "report" / "R07-03.html").unlink()
    reported(session, out)
    second = pages(out)
    assert [second[run] == first[run] for run in sorted(first)] == [True, False, False]
    assert contents(out) == whole


def test_other_targets_make_all_pages_new(copied: tuple[Path, Path], tmp_path: Path) -> None:
    (session, out), targets = copied, tmp_path / "targets.toml"
    first = pages(out)
    targets.write_text(
        'schema = 1\n[[set]]\nname = "default"\n[[set.band]]\nfigure = "contact_time_s"\n'
        'phase = "upright"\nhigh = 0.1\nbasis = "common practice, no source"\n',
        encoding="utf-8",
    )
    assert reported(session, out, targets=targets).complaints == ()
    assert all(pages(out)[run] != first[run] for run in first)


def test_without_its_targets_there_is_no_report_but_all_results(
    session: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    done = reported(session, out, targets=tmp_path / "none.toml")
    assert "the report could not be made" in done.complaints[0]
    assert "none.toml" in done.complaints[0]
    assert (out / "steps.csv").is_file()
    assert not done.failed
