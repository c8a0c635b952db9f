from pathlib import Path

import h5py
import pandas as pd
import pytest

import imuproc
from imuproc.core.errors import ArchiveError
from imuproc.results.archive.assembling import assemble_session
from imuproc.results.archive.writing import write_run_archive
from tests.archive.made_archives import (
    failed_archive,
    provenance,
    small_archive,
)
from tests.archive.real_results import real_result, several_runs

SESSION = {"id": "harbour-2031-04-12", "note": "wind from the left, é"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Archives of a real run, of one that failed, and of a log with two runs; and the session."""
    folder = tmp_path_factory.mktemp("runs")
    write_run_archive(folder / "R07-01.h5", real_result(), provenance("R07-01"))
    failed_archive(folder / "R07-09.h5")
    write_run_archive(folder / "R07-02.h5", several_runs(), provenance("R07-02_1", "R07-02_2"))
    assemble_session(folder / "session.h5", archives(folder), SESSION)
    return folder


def archives(folder: Path) -> list[Path]:
    return [folder / f"{name}.h5" for name in ("R07-01", "R07-09", "R07-02")]


def test_a_session_holds_its_runs_in_the_order_given(folder: Path) -> None:
    with imuproc.open_archive(folder / "session.h5") as archive:
        assert archive.kind == "session"
        assert archive.session == SESSION
        assert archive.runs == ("R07-01", "R07-09", "R07-02_1", "R07-02_2")
        steps = pd.concat([real_result().steps, several_runs().steps], ignore_index=True)
        pd.testing.assert_frame_equal(archive.steps, steps, check_exact=True)


def test_a_run_is_the_same_in_both(folder: Path) -> None:
    with (
        imuproc.open_archive(folder / "session.h5") as session,
        imuproc.open_archive(folder / "R07-01.h5") as archive,
    ):
        ours, theirs = session.run("R07-01"), archive.run("R07-01")
        pd.testing.assert_frame_equal(ours.steps, theirs.steps, check_exact=True)
        pd.testing.assert_frame_equal(ours.events, theirs.events, check_exact=True)
        pd.testing.assert_frame_equal(ours.curves(), theirs.curves(), check_exact=True)
        assert (ours.history, ours.flags) == (theirs.history, theirs.flags)
        assert (
            ours.signals("left_foot").gyro_radps == theirs.signals("left_foot").gyro_radps
        ).all()
        assert session.run("R07-09").summary["reason"] == "no sprint steps found"


def test_a_session_needs_none_of_the_archives_it_was_made_of(folder: Path, tmp_path: Path) -> None:
    alone = tmp_path / "alone.h5"
    alone.write_bytes((folder / "session.h5").read_bytes())
    with h5py.File(alone) as file:
        links = [file["runs"].get(name, getlink=True) for name in file["runs"]]
    assert {type(link) for link in links} == {h5py.HardLink}
    with imuproc.open_archive(alone) as archive:
        assert len(archive.run("R07-02_2").curve("shin_angle_right_deg")) > 1000


def test_the_same_archives_give_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    again = tmp_path / "session.h5"
    assemble_session(again, archives(folder), SESSION)
    assert again.read_bytes() == (folder / "session.h5").read_bytes()


def test_a_session_that_is_there_and_made_of_the_same_stays(folder: Path, tmp_path: Path) -> None:
    again = tmp_path / "session.h5"
    assemble_session(again, archives(folder), SESSION)
    before = again.stat()
    assemble_session(again, archives(folder), SESSION)
    assert (again.stat().st_ino, again.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


@pytest.mark.parametrize("change", ["an archive", "the order", "the session", "what is left out"])
def test_a_session_made_of_something_else_is_made_anew(
    folder: Path, tmp_path: Path, change: str
) -> None:
    path, other = tmp_path / "session.h5", tmp_path / "other.h5"
    parts, session, left_out = archives(folder), SESSION, ["R07-02_2"]
    assemble_session(path, parts, session, left_out)
    if change == "an archive":
        parts = [small_archive(tmp_path / "R07-01.h5", "R07-01"), *parts[1:]]
    elif change == "the order":
        parts = parts[::-1]
    elif change == "the session":
        session = {**SESSION, "note": "rain"}
    else:
        left_out = ["R07-02_1"]
    assemble_session(path, parts, session, left_out)
    assemble_session(other, parts, session, left_out)
    assert path.read_bytes() == other.read_bytes()


def test_a_session_that_is_damaged_is_made_anew(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "session.h5"
    whole = (folder / "session.h5").read_bytes()
    for damaged in (whole[:-1], whole[:100], whole[:5000] + b"?" + whole[5001:], b""):
        path.write_bytes(damaged)
        assemble_session(path, archives(folder), SESSION)
        assert path.read_bytes() == whole


def test_a_session_may_be_made_of_sessions_or_of_nothing(folder: Path, tmp_path: Path) -> None:
    assemble_session(tmp_path / "one.h5", [folder / "session.h5"], {})
    assemble_session(tmp_path / "none.h5", [], SESSION)
    with imuproc.open_archive(tmp_path / "one.h5") as archive:
        assert len(archive.runs) == 4
    with imuproc.open_archive(tmp_path / "none.h5") as archive:
        assert archive.runs == ()
        assert len(archive.steps) == 0


def test_a_damaged_archive_is_named_and_no_session_is_made(tmp_path: Path) -> None:
    good, bad = small_archive(tmp_path / "good.h5"), small_archive(tmp_path / "bad.h5", "R07-02")
    content = bytearray(bad.read_bytes())
    content[len(content) // 2] ^= 4
    bad.write_bytes(content)
    with pytest.raises(ArchiveError, match=r"bad\.h5: is damaged, its content is not what was"):
        assemble_session(tmp_path / "session.h5", [good, bad], SESSION)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.h5", "good.h5"]


def test_a_run_that_is_there_twice_is_refused(tmp_path: Path) -> None:
    paths = [small_archive(tmp_path / name) for name in ("a.h5", "b.h5")]
    with pytest.raises(ArchiveError, match=r"b\.h5: run R07-01 is in another archive too"):
        assemble_session(tmp_path / "session.h5", paths, SESSION)
