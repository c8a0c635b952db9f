"""The report made along with the tables: new where work was done, never older than its archive."""

import shutil
from pathlib import Path

import pytest

from imuproc.batch.fingerprint import PACKAGE, hash_page_sources
from imuproc.batch.folder import hold_output_folder
from imuproc.batch.pages import forget_pages, remake_report
from imuproc.batch.processed import Processed
from imuproc.batch.session import process_tasks
from tests.batch.jobs import Watched, contents, request
from tests.session_folder import write_small_session


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return write_small_session(tmp_path / "session")


@pytest.fixture(scope="module")
def reported_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Processed]:
    """Session and results with their report, side by side in a folder; not to be changed."""
    folder = tmp_path_factory.mktemp("reported")
    return folder, reported(write_small_session(folder / "session"), folder / "out")


@pytest.fixture
def copied(reported_once: tuple[Path, Processed], tmp_path: Path) -> tuple[Path, Path]:
    """Session file and results of the same, to be changed: every file as old as it was."""
    shutil.copytree(reported_once[0], tmp_path, dirs_exist_ok=True)
    return tmp_path / "session" / "session.toml", tmp_path / "out"


def reported(session: Path, out: Path, **more: object) -> Processed:
    asked = request(session, report=True, **more)
    with hold_output_folder(out, asked.tasks) as folder:
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
    targets.write_text(OTHER_TARGETS, encoding="utf-8")
    assert reported(session, out, targets=targets).complaints == ()
    assert all(pages(out)[run] != first[run] for run in first)


OTHER_TARGETS = (
    'schema = 1\n[[set]]\nname = "default"\n[[set.band]]\nfigure = "contact_time_s"\n'
    'phase = "upright"\nhigh = 0.1\nbasis = "common practice, no source"\n'
)


@pytest.mark.parametrize(
    "changed",
    [
        "assessment/default_targets.toml",
        "report/pages/templates/run.html.j2",
        "report/pages/templates/page.css",
        "report/pages/templates/page.js",
    ],
)
def test_a_change_of_what_pages_are_drawn_with_makes_all_pages_new_and_no_archive(
    copied: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, changed: str
) -> None:
    (session, out), package = copied, tmp_path / "package"
    for room in ("assessment", "report"):
        shutil.copytree(PACKAGE / room, package / room)
    monkeypatch.setattr("imuproc.batch.pages.hash_page_sources", lambda: hash_page_sources(package))
    first, archives = pages(out), archives_of(out)
    reported(session, out)
    assert pages(out) == first  # the same files elsewhere are the same
    with (package / changed).open("a", encoding="utf-8") as file:
        file.write("\n")
    done = reported(session, out)
    assert all(pages(out)[run] != first[run] for run in first)
    assert {outcome.state for outcome in done.outcomes.values()} == {"reused"}
    assert archives_of(out) == archives
    second = pages(out)
    reported(session, out)
    assert pages(out) == second


def archives_of(out: Path) -> dict[str, int]:
    return {path.name: path.stat().st_mtime_ns for path in (out / "runs").iterdir()}


def test_a_date_put_right_in_the_session_file_stands_on_every_page(
    copied: tuple[Path, Path],
) -> None:
    session, out = copied
    assert "2031-04-12" in (out / "report" / "R07-01.html").read_text("utf-8")
    text = session.read_text("utf-8").replace("date = 2031-04-12", "date = 2031-04-13")
    session.write_text(text, encoding="utf-8")
    done = reported(session, out)
    assert {outcome.state for outcome in done.outcomes.values()} == {"reused"}
    for run in pages(out):
        page = (out / "report" / f"{run}.html").read_text("utf-8")
        assert ("2031-04-13" in page, "2031-04-12<" in page) == (True, False)


def test_pages_that_imuproc_report_made_with_other_targets_do_not_stay(
    copied: tuple[Path, Path], tmp_path: Path
) -> None:
    session, out = copied
    whole = contents(out)
    (tmp_path / "targets.toml").write_text(OTHER_TARGETS, encoding="utf-8")
    remake_report(out, tmp_path / "targets.toml", 1)
    assert contents(out)["report/R07-01.html"] != whole["report/R07-01.html"]
    reported(session, out)
    assert contents(out) == whole


def test_pages_of_a_report_that_was_interrupted_do_not_count_as_made(
    copied: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session, out = copied
    whole = contents(out)
    (tmp_path / "targets.toml").write_text(OTHER_TARGETS, encoding="utf-8")

    def interrupt(*_arguments: object, **_named: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("imuproc.report.pages.writing.squad_page", interrupt)  # after the runs' pages
        with pytest.raises(KeyboardInterrupt):
            reported(session, out, targets=tmp_path / "targets.toml")
    assert contents(out)["report/R07-01.html"] != whole["report/R07-01.html"]
    reported(session, out)
    assert contents(out) == whole


def test_without_its_targets_there_is_no_report_but_all_results(
    session: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    done = reported(session, out, targets=tmp_path / "none.toml")
    assert "the report could not be made" in done.complaints[0]
    assert "none.toml" in done.complaints[0]
    assert (out / "steps.csv").is_file()
    assert not done.failed
