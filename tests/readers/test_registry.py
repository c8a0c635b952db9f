"""How a log finds its reader, and what is said when it finds none."""

import os

import pytest

from imuproc.core.errors import LogError
from imuproc.readers.logs.registry import READERS, load_reader, read_log, recognise_format
from tests.readers.samples import layout, request, text


def complaint(path, how=None):
    with pytest.raises(LogError, match=r"\(left_shank\): ") as caught:
        read_log(request(path, how))
    return str(caught.value)


@pytest.mark.parametrize("content", [bytes(100), b"\x89PNG\r\n\x1a\n" + bytes(9), b"<html>", b"{}"])
def test_file_of_no_known_format(tmp_path, content):
    path = tmp_path / "log.dat"
    path.write_bytes(content)
    assert "the format was not recognised; this version reads 'hdf5', 'parque" in complaint(path)


@pytest.mark.parametrize(
    ("content", "stated", "shown"),
    [
        (text().encode(), "hdf5", "delimited"),
        (text().encode(), "xdf", "delimited"),
        (b"PAR1" + bytes(99), "delimited", "parquet"),
        (b"XDF: and so on", "hdf5", "xdf"),
    ],
)
def test_file_of_another_format_than_the_layout_states(tmp_path, content, stated, shown):
    path = tmp_path / "log.dat"
    path.write_bytes(content)
    time = {"time": None} if stated == "xdf" else {}
    found = complaint(path, layout(format=stated, **time))
    assert f"states the format '{stated}', but the file looks like '{shown}'; allowed: " in found


def test_name_of_the_file_does_not_matter(tmp_path):
    path = tmp_path / "log.parquet"
    path.write_text(text())
    assert recognise_format(path) == "delimited"
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
        assert callable(reader.can_read)
        assert callable(reader.stream)
