"""The report of a folder: self-contained files of bounded size, the same bytes every time."""

import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from imuproc.core.errors import ArchiveError, SessionError
from imuproc.report.pages.squad_page import page_name, squad_page, squad_row
from imuproc.report.pages.view import RunView
from imuproc.report.pages.writing import write_report
from imuproc.results.archive.writing import write_run_archive
from tests.archive.made_archives import failed_archive, provenance, small_archive
from tests.report.fake_result import fake_recording, fake_result
from tests.report.pages.made_report import DOUBTFUL, FAILED, NOTED, SESSION, SOUND, with_people

RUN_BYTES = 1_500_000
INDEX_BYTES = 3_000_000


class Read(HTMLParser):
    """Elements of a page that load something, and its words."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.words: list[str] = []
        self.ids: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.ids += [value for name, value in attrs if name == "id" and value]
        if tag in ("link", "img", "iframe", "object", "embed") or (tag == "script" and given):
            self.loads.append(tag)
        self.loads += [name for name, value in attrs if value and value.startswith("http")]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def small_results(folder: Path, *done: str) -> Path:
    """Archives of small runs and of one that failed."""
    (folder / "runs").mkdir(parents=True)
    for run in done:
        small_archive(folder / "runs" / f"{run}.h5", run)
    failed_archive(folder / "runs" / "R07-09.h5")
    return folder


@pytest.fixture(scope="module")
def reported_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """Results of two small runs and one that failed, with their report; not to be changed."""
    folder = small_results(tmp_path_factory.mktemp("reported") / "out", SOUND, NOTED)
    return folder, write_report(folder)


@pytest.fixture
def reported(reported_once: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    """The same, to be changed by a test."""
    return Path(shutil.copytree(reported_once[0], tmp_path / "out"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Results without a report, to be changed by a test."""
    return small_results(tmp_path / "out", SOUND)


def test_a_page_for_every_run_an_index_pictures_and_a_spreadsheet(results: Path) -> None:
    names = {path.name for path in (results / "report").iterdir()}
    pages = {f"{run}.html" for run in (SOUND, NOTED, DOUBTFUL, FAILED)}
    pairs = {name for name in names if "__" in name}
    pictures = {f"{run}.png" for run in (SOUND, NOTED, DOUBTFUL)}
    assert names == {"index.html", *pages, *pictures, *pairs}
    assert len(pairs) == 1  # runs of one athlete, one after the other
    assert (results / "steps.xlsx").is_file()
    for page in pages | pairs | {"index.html"}:
        read = Read(results / "report" / page)
        assert read.loads == []
        assert len(read.ids) == len(set(read.ids))
        assert (results / "report" / page).stat().st_size < RUN_BYTES
    first = "".join(Read(results / "report" / f"{DOUBTFUL}.html").words)
    assert first.index("Read this first") < first.index("Main point")
    assert "no <b>quiet</b> standing" in "".join(Read(results / "report" / f"{FAILED}.html").words)


def test_no_path_of_this_machine_stands_in_a_file(results: Path) -> None:
    for path in (results / "report").iterdir():
        assert str(results).encode() not in path.read_bytes()


def test_the_same_bytes_each_time_and_with_any_number_of_processes(
    reported_once: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    written = reported_once[1]
    again = write_report(small_results(tmp_path / "out", SOUND, NOTED), jobs=2)
    assert list(again) == list(written)
    for name, path in written.items():
        assert Path(again[name]).read_bytes() == Path(path).read_bytes(), name


def test_only_what_is_asked_for_is_drawn_anew_and_the_index_holds_all(reported: Path) -> None:
    folder = reported
    before = (folder / "report" / "index.html").read_bytes()
    kept, anew = (folder / "report" / f"{run}.html" for run in (SOUND, NOTED))
    for page in (kept, anew):
        page.write_text("old", encoding="utf-8")
    written = write_report(folder, only=[NOTED])
    assert kept.read_text(encoding="utf-8") == "old"
    assert anew.stat().st_size > 10_000
    assert f"report/{SOUND}.html" not in written
    assert (folder / "report" / "index.html").read_bytes() == before


def test_archives_of_single_runs_are_enough(
    reported_once: tuple[Path, dict[str, str]],
) -> None:
    folder, _ = reported_once
    words = "".join(Read(folder / "report" / "R07-09.html").words)
    assert "no sprint steps found" in words
    assert "R07-09" in (folder / "report" / "index.html").read_text(encoding="utf-8")
    assert "not known" in "".join(Read(folder / "report" / f"{SOUND}.html").words)  # the date


def test_a_folder_without_archives_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=r"found neither session\.h5 nor archives"):
        write_report(tmp_path)


def test_an_athlete_whose_targets_are_not_given_is_refused_by_name(folder: Path) -> None:
    result = fake_result(fake_recording("R07-05"))
    athlete = replace(result.conditioned.recording.athlete, targets="masters")
    path = folder / "runs" / "R07-05.h5"
    write_run_archive(path, with_people(result, athlete), provenance("R07-05"))
    with pytest.raises(SessionError, match="'masters'; allowed: 'default'"):
        write_report(folder)


def test_targets_of_ones_own_are_used(folder: Path) -> None:
    own = folder / "own.toml"
    own.write_text(
        'schema = 1\n[[set]]\nname = "default"\n[[set.band]]\nfigure = "contact_time_s"\n'
        'phase = "drive"\nhigh = 0.05\nbasis = "common practice, no source"\n',
        encoding="utf-8",
    )
    write_report(folder, own)
    words = "".join(Read(folder / "report" / f"{SOUND}.html").words)
    assert "Too long on the ground" in words
    assert "shin angle (drive)" not in words


def test_a_run_table_cannot_name_a_page_elsewhere(folder: Path) -> None:
    rows = "athlete,run,status,reason\nR07,../../evil,failed,because\n"
    (folder / "runs.csv").write_text(rows, encoding="utf-8")
    with pytest.raises(SessionError, match=r"'\.\./\.\./evil' as id of a run"):
        write_report(folder)


def test_a_file_in_the_way_is_named(folder: Path) -> None:
    (folder / "report").write_text("", encoding="utf-8")
    with pytest.raises(SessionError, match=r"report in .* cannot be written"):
        write_report(folder)


def test_an_index_of_320_runs_stays_small(views: dict[str, RunView]) -> None:
    rows = [squad_row(view) for view in views.values()]
    many = [replace(rows[k % 3], run=f"R{k:02d}-01", page=page_name(f"R{k}")) for k in range(320)]
    page = squad_page(SESSION, many, {})
    assert len(page.encode()) < INDEX_BYTES
    assert len(re.findall(r'<tr class="', page)) == 320


def test_a_row_of_the_index_says_what_state_a_run_is_in(views: dict[str, RunView]) -> None:
    assert [squad_row(views[run]).state for run in (SOUND, DOUBTFUL)] == ["remarks", "trouble"]
    assert squad_row(views[DOUBTFUL]).doubts == ("mounting sign unsure",)
    assert squad_row(views[SOUND]).on_target == "4 of 10"
