from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import imuproc
from imuproc.core.errors import ArchiveError
from imuproc.results.archive.reading import Archive
from imuproc.results.archive.writing import write_run_archive
from tests.archive.made_archives import provenance, small_archive
from tests.archive.real_results import real_result


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("archive") / "R07-01.h5"
    write_run_archive(path, real_result(), provenance("R07-01"))
    return path


@pytest.fixture
def archive(path: Path) -> Iterator[Archive]:
    with imuproc.open_archive(str(path)) as archive:
        yield archive


def test_what_is_not_there_is_named_with_what_is(archive: Archive) -> None:
    with pytest.raises(ArchiveError, match=r"R07-01\.h5: has no run 'R99'; it has: R07-01"):
        archive.run("R99")
    run = archive.run("R07-01")
    with pytest.raises(ArchiveError, match=r"has no curve 'knee'; it has: shin_angle_left_deg, "):
        run.curve("knee")
    with pytest.raises(ArchiveError, match=r"has no curve 'knee'"):
        run.curves(["knee"])
    with pytest.raises(ArchiveError, match=r"has no sensor 'pelvis'; it has: left_shank, "):
        run.signals("pelvis")
    with pytest.raises(ArchiveError, match=r"has no motion 'pelvis'; it has: left_foot, "):
        run.motion("pelvis")


def test_after_closing_what_was_read_stays_and_the_rest_is_refused(path: Path) -> None:
    with imuproc.open_archive(path) as archive:
        run = archive.run("R07-01")
        curve = run.curve("shin_angle_left_deg")
    assert curve.any()
    assert run.history
    for read in (lambda: run.steps, lambda: run.curve("shin_angle_left_deg")):
        with pytest.raises(ArchiveError, match="R07-01: its archive has been closed"):
            read()
    with pytest.raises(ArchiveError, match=r"R07-01\.h5: has been closed"):
        _ = archive.steps
    archive.close()


def test_one_curve_is_read_without_the_rest(archive: Archive) -> None:
    read: list[str] = []
    run = archive.run("R07-01")

    class Spy:
        def __getitem__(self, name: str) -> object:
            read.append(name)
            return run.group[name]

        def __contains__(self, name: str) -> bool:
            return name in run.group

    spied = replace(run, group=Spy())
    assert spied.curve("shin_angle_left_deg").any()
    assert read == ["curves"]


def test_an_archive_can_be_open_twice_and_while_it_is_replaced(tmp_path: Path) -> None:
    path = small_archive(tmp_path / "a.h5")
    with imuproc.open_archive(path) as first, imuproc.open_archive(path) as second:
        small_archive(path, "R07-02")
        assert first.runs == second.runs == ("R07-01",)
        assert len(first.run("R07-01").steps) == 6
    with imuproc.open_archive(path) as third:
        assert third.runs == ("R07-02",)


def test_a_file_that_is_refused_is_not_kept_open(tmp_path: Path) -> None:
    path = small_archive(tmp_path / "a.h5")
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(ArchiveError, match="is cut off"):
        imuproc.open_archive(path)
    path.unlink()
    assert list(tmp_path.iterdir()) == []
