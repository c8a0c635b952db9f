"""How a log finds its reader, and what is said when it finds none."""

import os

import pytest

from imuproc.core.errors import LogError
from imuproc.readers.registry import READERS, load_reader, read_log, recognise
from tests.readers.samples import layout, request, text


def complaint(path, how=None):
    with pytest.raises(LogError, match=r"\(left_shank\): ") as caught:
        read_log(request(path, how))
    return str(caught.value)


@pytest.mark.parametrize("planned", ["hdf5", "parquet", "bids-motion", "xdf"])
def test_format_that_is_only_planned(tmp_path, planned):
    path = tmp_path / "log.dat"
    path.write_text(text())
    found = complaint(path, layout(format=planned))
    assert f"format '{planned}': this version reads only 'delimited' (planned: " in found


@pytest.mark.parametrize(
    ("start", "planned"), [(b"\x89HDF\r\n\x1a\n", "hdf5"), (b"PAR1", "parquet"), (b"XDF:", "xdf")]
)
def test_planned_format_is_recognised_by_its_signature(tmp_path, start, planned):
    path = tmp_path / "log.dat"
    path.write_bytes(start + bytes(100))
    assert f"log.dat (left_shank): format '{planned}': this version reads" in complaint(path)


@pytest.mark.parametrize("content", [bytes(100), b"\x89PNG\r\n\x1a\n" + bytes(9), b"<html>", b"{}"])
def test_file_of_no_known_format(tmp_path, content):
    path = tmp_path / "log.dat"
    path.write_bytes(content)
    assert "the format was not recognised; this version reads only 'delimited'" in complaint(path)


def test_name_of_the_file_does_not_matter(tmp_path):
    path = tmp_path / "log.parquet"
    path.write_text(text())
    assert recognise(path) == "delimited"
    assert len(read_log(request(path)).time_s) == 5


def test_missing_file_folder_and_empty_file(tmp_path):
    assert complaint(tmp_path / "log.csv").endswith("log.csv (left_shank): there is no such file")
    assert "found a folder; allowed: a log file" in complaint(tmp_path)
    (tmp_path / "empty.csv").touch()
    assert complaint(tmp_path / "empty.csv") == "empty.csv (left_shank): the file is empty"


def test_name_too_long_for_the_system(tmp_path):
    found = complaint(tmp_path / ("x" * 5000))
    assert "cannot be read: " in found or "there is no such file" in found


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert "found something that is not a regular file" in complaint(tmp_path / "pipe")


def test_readers_load_by_name():
    for name in READERS:
        reader = load_reader(name)
        assert callable(reader.recognise)
        assert callable(reader.read)
