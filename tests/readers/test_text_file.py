"""Encodings, line ends and compression of text logs."""

import codecs
import gzip

import pytest

from tests.readers.samples import (
    assert_sample_values,
    layout,
    read,
    refusal,
    text,
)


@pytest.mark.parametrize(
    ("mark", "encoding"),
    [
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF32_BE, "utf-32-be"),
    ],
)
def test_byte_order_mark_tells_the_encoding(tmp_path, mark, encoding):
    assert_sample_values(read(tmp_path, mark + text().encode(encoding)))


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-8", "latin-1", "cp1252"])
def test_encoding_may_be_stated(tmp_path, encoding):
    how = layout(encoding=encoding, format="delimited")
    assert_sample_values(read(tmp_path, text().encode(encoding), how))


def test_unreadable_bytes_in_columns_that_nobody_wants_do_no_harm(tmp_path):
    content = text().replace("gz\n", "gz,temp °C\n").replace("\n", ",21\n").replace("°C,21", "°C")
    assert_sample_values(read(tmp_path, content.encode("latin-1")))


def test_unreadable_bytes_in_a_wanted_name_ask_for_the_encoding(tmp_path):
    how = layout(gyro={"columns": ["gx °/s", "gy", "gz"], "unit": "deg/s"})
    content = text().replace("gx", "gx °/s").encode("latin-1")
    assert "the text is not UTF-8: state the layout's encoding" in refusal(tmp_path, content, how)
    assert_sample_values(read(tmp_path, content, how.model_copy(update={"encoding": "latin-1"})))


def test_text_in_another_encoding_than_stated(tmp_path):
    found = refusal(tmp_path, text().encode() + b"\x81", layout(encoding="cp1252"))
    assert found.startswith("the text is not cp1252: ")
    cut = codecs.BOM_UTF16_LE + text().encode("utf-16-le")[:-1]
    assert read(tmp_path, cut).cut_short.startswith("line 6 breaks off in cell 7 of 7")
    cut = codecs.BOM_UTF16_LE + b"\x00\xd8" + text().encode("utf-16-le")
    assert refusal(tmp_path, cut).startswith("the text is not utf-16-le: ")


def test_utf_16_without_mark_asks_for_the_encoding(tmp_path):
    content = text().encode("utf-16-le")
    found = refusal(tmp_path, content, layout(format="delimited"))
    assert "or text in another encoding: state the layout's encoding, such as utf-16-le" in found


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_of_other_systems(tmp_path, end):
    assert_sample_values(read(tmp_path, text().replace("\n", end).encode()))


@pytest.mark.parametrize("stated", [None, "delimited"])
def test_compressed_log(tmp_path, stated):
    content = gzip.compress(text().encode())
    assert_sample_values(read(tmp_path, content, layout(format=stated), name="log.csv.gz"))


def test_compressed_log_cut_short(tmp_path):
    content = gzip.compress(text(n=500).encode())
    for length in (5, 12, len(content) // 2, len(content) - 1):
        found = refusal(tmp_path, content[:length], name="log.csv.gz")
        assert "the compressed file is cut short: it ends before its end mark" in found


def test_compressed_log_damaged(tmp_path):
    content = bytearray(gzip.compress(text(n=500).encode()))
    content[len(content) // 2] ^= 0xFF
    assert "the compressed file is " in refusal(tmp_path, bytes(content), name="log.csv.gz")
    content = gzip.compress(text().encode()) + b"more"
    assert "the compressed file is damaged" in refusal(tmp_path, content, name="log.csv.gz")


def test_compressed_nothing(tmp_path):
    assert refusal(tmp_path, gzip.compress(b""), name="log.csv.gz") == "the file is empty"
