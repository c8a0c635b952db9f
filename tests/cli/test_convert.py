from pathlib import Path

from imuproc.readers.session import read_session
from tests.cli.command import Command
from tests.session_folder import write_small_session


def test_a_session_is_converted(imuproc: Command, tmp_path: Path) -> None:
    path = write_small_session(tmp_path / "in")
    seen = imuproc("convert", path, "-o", tmp_path / "out", "--to", "hdf5")
    assert seen.code == 0
    assert seen.out == f"Written: {tmp_path / 'out' / 'session.toml'}\n"
    assert seen.err == "imuproc: 3 logs written, 0 failed\n"
    assert len(read_session(tmp_path / "out" / "session.toml").runs) == 3


def test_one_run_quietly(imuproc: Command, tmp_path: Path) -> None:
    path = write_small_session(tmp_path / "in")
    asked = ("convert", path, "-o", tmp_path / "out", "--to", "parquet", "--run", "R07-02", "-q")
    assert imuproc(*asked) == type(imuproc(*asked))(0, "", "")
    runs = read_session(tmp_path / "out" / "session.toml").runs
    assert [run.id for run in runs] == ["R07-02"]


def test_a_bad_log_is_named(imuproc: Command, tmp_path: Path) -> None:
    path = write_small_session(tmp_path / "in")
    (tmp_path / "in/logs/R07-02_ls.csv").write_text("nonsense\n")
    seen = imuproc("convert", path, "-o", tmp_path / "out", "--to", "bids-motion")
    assert seen.code == 1
    assert "imuproc: run R07-02: logs/R07-02_ls.csv (left_shank): line 1: missing col" in seen.err
    assert seen.err.endswith("imuproc: 2 logs written, 1 failed\n")


def test_a_log_that_breaks_off_is_converted_and_named(imuproc: Command, tmp_path: Path) -> None:
    path = write_small_session(tmp_path / "in")
    log = tmp_path / "in/logs/R07-02_ls.csv"
    log.write_bytes(log.read_bytes() + b"9.5,0.1")
    seen = imuproc("convert", path, "-o", tmp_path / "out", "--to", "hdf5")
    assert seen.code == 0
    assert "imuproc: run R07-02: the log of left shank is cut short: line " in seen.err
    assert "breaks off in cell 2 of 7 and was left out; its last sample is at " in seen.err
    assert seen.err.endswith("imuproc: 3 logs written, 0 failed\n")


def test_wrong_requests(imuproc: Command, tmp_path: Path) -> None:
    path = write_small_session(tmp_path / "in")
    for words, expected in (
        (("--to", "csv", "-o", tmp_path / "out"), "--to: found 'csv'; allowed: 'bids-motion', 'h"),
        (("--to", "hdf5", "-o", tmp_path / "in"), "is the folder of the session itself"),
        (("--to", "hdf5", "-o", path), "found a file; allowed as output: a folder"),
        (("--to", "hdf5", "-o", tmp_path / "out", "--run", "x"), "found no run 'x'"),
    ):
        seen = imuproc("convert", path, *words)
        assert seen.code == 2
        assert expected in seen.err
        assert seen.out == ""
    assert imuproc("convert", path).code == 2
