"""Logs that break off: what is whole is read and the cut is told, or the log is refused."""

import gzip
import tempfile
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from imuproc.core.errors import LogError
from imuproc.readers.logs.registry import read_log, stream_log
from tests.contracts.kinds import KINDS
from tests.readers.samples import NAMES, layout, read, refusal, request

ROWS = 150
NUMBERS = np.random.default_rng(11).normal(scale=30.0, size=(ROWS, 6))
FORMS = {
    "fixed": "{:.3f}".format,
    "exponent": "{:.4e}".format,
    "padded": "{:9.3f}".format,
    "rounded": lambda value: repr(round(value, 3)),
    "any": repr,
    "whole": "{:.0f}".format,
}


def lines_of(form, delimiter=",", note=False):
    """A header and lines of samples, with a column of words behind them or not."""
    rows = [",".join([*NAMES, "note"] if note else NAMES).replace(",", delimiter)]
    for count, row in enumerate(NUMBERS):
        cells = [f"{count / 100:.2f}", *(FORMS[form](float(value)) for value in row)]
        rows.append(delimiter.join([*cells, "ok"] if note else cells))
    return rows


def cut(data, at):
    """What is read of the beginning of a file; None where it is refused."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "log.csv")
        path.write_bytes(data[:at])
        refused = ""
        try:
            return read_log(request(path, layout(format="delimited")))
        except LogError as error:
            refused = str(error)
        assert refused.startswith("log.csv (left_shank): ")
        return None


def assert_beginning(log, whole):
    """Every row is a row of the whole log, bit by bit, from the first on."""
    n = len(log.time_s)
    for name in ("time_s", "accel_mps2", "gyro_radps"):
        np.testing.assert_array_equal(getattr(log, name), getattr(whole, name)[:n])


@given(
    form=st.sampled_from(sorted(FORMS)),
    delimiter=st.sampled_from([",", ";", "\t", " "]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-16"]),
    note=st.booleans(),
    place=st.floats(0.0, 1.0),
    in_last=st.booleans(),
)
@example("any", ",", "\n", "utf-8", False, 0.99, True)
@settings(max_examples=400, deadline=None)
def test_a_text_log_cut_at_any_byte_is_a_beginning_or_refused(
    form, delimiter, end, encoding, note, place, in_last
):
    lines = lines_of(form, delimiter, note)
    data = (end.join(lines) + end).encode(encoding)
    begin = len((end.join(lines[:-1]) + end).encode(encoding)) if in_last else 0
    at = begin + int(place * (len(data) - begin))
    log, whole = cut(data, at), cut(data, len(data))
    assert not whole.cut_short
    assert len(whole.time_s) == ROWS
    if log is None:
        assert at < len((end.join(lines[:3]) + end).encode(encoding))
        return
    assert_beginning(log, whole)
    written = data[:at].decode(encoding, errors="ignore").replace("\r\n", "\n").replace("\r", "\n")
    ended = written.count("\n") - 1  # lines of samples with their end
    rest = written.rsplit("\n", 1)[1]
    assert len(log.time_s) - ended in (0, 1)
    if len(log.time_s) > ended:  # used without its end: it lacks nothing that was asked for
        complete = (
            lines[ended + 1].rsplit(delimiter, 1)[0] + delimiter if note else lines[ended + 1]
        )
        assert rest.startswith(complete)
    cells = len(rest.split(delimiter)) if rest else 0
    if 0 < cells < len(lines[0].split(delimiter)) and rest.strip():
        assert log.cut_short.startswith(f"line {ended + 2} breaks off in cell")


@pytest.mark.parametrize("form", ["fixed", "exponent", "padded"])
def test_with_a_usual_count_of_decimals_a_cut_number_is_told_and_a_whole_one_used(tmp_path, form):
    data = "\n".join(lines_of(form)).encode()
    whole = read(tmp_path, data)
    assert (len(whole.time_s), whole.cut_short) == (ROWS, "")
    number = data.rsplit(b",", 1)[1].strip()
    for less in range(1, len(number) + 1):
        log = read(tmp_path, data[:-less])
        assert len(log.time_s) == ROWS - 1
        assert log.cut_short == (
            "line 151 breaks off in cell 7 of 7 and was left out; its last sample is at 1.48 s"
        )


def test_where_nothing_tells_a_line_without_an_end_is_left_out(tmp_path):
    for form in ("any", "whole"):
        log = read(tmp_path, "\n".join(lines_of(form)))
        assert (len(log.time_s), log.cut_short) == (ROWS - 1, "")


def test_rounded_numbers_are_told_by_their_decimals(tmp_path):
    """Two decimals of three are rare where noughts at the end are left out, but not rare enough."""
    lines = lines_of("rounded")
    above = [line for line in lines[1:] if len(line.rsplit(".", 1)[1]) == 3]
    begin = "\n".join([lines[0], *above, *lines[1:15]]) + "\n0.5,1.0,1.0,1.0,1.0,1.0,"
    few = sum(len(line.rsplit(".", 1)[1]) < 3 for line in lines[1:15])
    n = len(above) + 14
    assert 0 < few < 0.05 * n  # two decimals are rare here
    for number, used, told in (("1.234", 1, False), ("1.2", 0, True), ("1", 0, True)):
        log = read(tmp_path, begin + number)
        assert (len(log.time_s) - n, bool(log.cut_short)) == (used, told)


@pytest.mark.parametrize(
    ("tail", "used"),
    [('"1.5"', 1), ('"1.5', 0), ("1.5 ", 1), ("nan", 1), ("-", 0), ("1e", 0), ("\x00\x00", 0)],
)
def test_what_shows_that_a_last_number_is_whole_or_not(tmp_path, tail, used):
    begin = "\n".join(lines_of("any")) + "\n2.0,1,2,3,4,5,"
    log = read(tmp_path, begin + tail)
    assert len(log.time_s) == ROWS + used
    assert bool(log.cut_short) is not bool(used)


def test_noughts_that_a_file_system_leaves_at_the_end(tmp_path):
    log = read(tmp_path, "\n".join(lines_of("any")) + "\n2.0,1.2" + "\x00" * 500)
    assert len(log.time_s) == ROWS
    assert log.cut_short.startswith("line 152 breaks off in cell 2 of 7 and was left out")


def test_a_missing_last_value_that_is_usual_is_no_cut(tmp_path):
    lines = lines_of("fixed")
    some = [line.rsplit(",", 1)[0] + "," if n % 3 == 1 else line for n, line in enumerate(lines)]
    begin = "\n".join(some) + "\n2.00,1.000,1.000,1.000,1.000,1.000,"
    assert read(tmp_path, begin).cut_short == ""
    begin = "\n".join(lines) + "\n2.00,1.000,1.000,1.000,1.000,1.000,"
    assert read(tmp_path, begin).cut_short.startswith("line 152 breaks off in cell 7 of 7")


def test_what_follows_the_samples_is_no_cut(tmp_path):
    for tail in ("\n", "\n\n", "\n# end of log", "\n   "):
        log = read(tmp_path, "\n".join(lines_of("any")) + tail)
        assert (len(log.time_s), log.cut_short) == (ROWS, "")


def test_too_many_cells_or_words_in_the_middle_are_no_cut(tmp_path):
    begin = "\n".join(lines_of("any")) + "\n"
    assert refusal(tmp_path, begin + "2,1,2,3,4,5,6,7").startswith("line 152: found 8 cells; allow")
    assert refusal(tmp_path, begin + "2,1,x,3,4,5,6.5 ").startswith("line 152, column 'ay': found")


@pytest.mark.parametrize("rows", [2, 7, 50, 149, 150, 151, 1000])
@pytest.mark.parametrize("left", ["2.0,1.0,2", "2.0,1,2,3,4,5,-"])
def test_the_last_piece_says_it(tmp_path, monkeypatch, rows, left):
    for block_bytes in (97, 1 << 21):
        monkeypatch.setattr("imuproc.readers.logs.text.text_file._BLOCK_BYTES", block_bytes)
        path = tmp_path / "log.csv"
        path.write_text("\n".join(lines_of("any")) + "\n" + left)
        pieces = list(stream_log(request(path), rows))
        assert sum(len(piece.time_s) for piece in pieces) == ROWS
        assert [bool(p.cut_short) for p in pieces] == [False] * (len(pieces) - 1) + [True]


def test_a_cut_line_below_comments_is_told_even_if_nothing_else_is_in_its_block(
    tmp_path, monkeypatch
):
    monkeypatch.setattr("imuproc.readers.logs.text.text_file._BLOCK_BYTES", 199)
    monkeypatch.setattr("imuproc.readers.logs.text.delimited.HEAD_LINE_COUNT", 1)
    comments = "\n".join("# " + "x" * 60 for _ in range(20))
    log = read(tmp_path, "\n".join(lines_of("any")) + f"\n{comments}\n2.0,1.0")
    assert len(log.time_s) == ROWS
    assert log.cut_short.startswith("line 172 breaks off in cell 2 of 7")


def test_a_compressed_log_that_is_cut_is_refused_with_what_to_do(tmp_path):
    data = gzip.compress("\n".join(lines_of("fixed")).encode(), mtime=0)
    found = refusal(tmp_path, data[:-40])
    assert found.startswith("the compressed file is cut short: ")
    assert "copy it again, or unpack what is left of it" in found
    # What is left, unpacked, is a text that is cut.
    unpacked = zlib.decompressobj(31).decompress(data[:-40])
    assert read(tmp_path, unpacked).cut_short


def test_a_cut_bids_recording_is_told(tmp_path):
    kind = KINDS["bids-motion"]
    path = tmp_path / kind.file
    kind.write(path, np.column_stack([np.arange(ROWS) * 2.0, NUMBERS]), "mg")
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"\t")])
    log = read_log(kind.request(path))
    assert len(log.time_s) == ROWS - 1
    assert log.cut_short.startswith("line 150 breaks off in cell 6 of 7")


@pytest.mark.parametrize("name", ["parquet", "hdf5", "hdf5 of others"])
@pytest.mark.parametrize("lost", [1, 8, 100, 1000, 3000])
def test_files_with_an_index_are_refused_when_cut(tmp_path, name, lost):
    kind = KINDS[name]
    path = tmp_path / kind.file
    kind.write(path, np.column_stack([np.arange(ROWS) * 2.0, NUMBERS]), "mg")
    data = path.read_bytes()
    path.write_bytes(data[:-lost])
    with pytest.raises(LogError, match=r"^logs/a\.log \(left_shank\): "):
        read_log(kind.request(path, format=kind.format))
