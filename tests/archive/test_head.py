"""Whatever happens to the bytes of an archive: it is refused by name, never read as if whole."""

from pathlib import Path

import h5py
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import imuproc
from imuproc.core.errors import ArchiveError
from imuproc.results.archive.head import HEAD_BYTES, seal_archive, verify_archive
from imuproc.results.archive.schema import SCHEMA
from tests.archive.made_archives import small_archive

REFUSED = (
    r"damaged\.h5: (is cut off|is damaged|is no archive of imuproc, or its head is damaged"
    r"|is no archive of imuproc$)"
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return small_archive(tmp_path_factory.mktemp("whole") / "a.h5").read_bytes()


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    return tmp_path / "damaged.h5"


def refused(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with pytest.raises(ArchiveError, match=REFUSED):
        imuproc.open_archive(path)


def test_what_was_written_is_whole(whole: bytes, damaged: Path) -> None:
    damaged.write_bytes(whole)
    assert verify_archive(damaged) == SCHEMA
    imuproc.open_archive(damaged).close()


def test_no_single_bit_of_the_head_may_change(damaged: Path) -> None:
    damaged.write_bytes(bytes(HEAD_BYTES) + b"content")
    seal_archive(damaged, 1)
    whole = damaged.read_bytes()
    schema_at = whole.index(b"schema 1") + len(b"schema ")
    other_schemas = set()
    for place in range(len(whole)):
        for bit in range(8) if place < whole.index(b"\n") else [place % 8]:
            changed = bytearray(whole)
            changed[place] ^= 1 << bit
            damaged.write_bytes(changed)
            if place == schema_at and chr(changed[place]).isdigit():
                other_schemas.add(
                    verify_archive(damaged)
                )  # for the content to contradict, see below
                continue
            with pytest.raises(ArchiveError, match=REFUSED):
                verify_archive(damaged)
    assert other_schemas == {0, 3, 5, 9}


anywhere = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@anywhere
@given(data=st.data())
def test_a_flipped_bit_anywhere_is_noticed(
    data: st.DataObject, whole: bytes, damaged: Path
) -> None:
    changed = bytearray(whole)
    for place in data.draw(st.sets(st.integers(0, len(whole) * 8 - 1), min_size=1, max_size=3)):
        changed[place // 8] ^= 1 << place % 8
    refused(damaged, bytes(changed))


@anywhere
@given(data=st.data())
def test_an_overwritten_stretch_is_noticed(
    data: st.DataObject, whole: bytes, damaged: Path
) -> None:
    start = data.draw(st.integers(0, len(whole) - 1))
    length = data.draw(st.integers(1, min(5000, len(whole) - start)))
    filler = data.draw(st.sampled_from([b"\0", b"\xff", b"x"]))
    changed = whole[:start] + filler * length + whole[start + length :]
    if changed != whole:
        refused(damaged, changed)


@anywhere
@given(data=st.data())
def test_a_file_cut_off_anywhere_is_noticed(
    data: st.DataObject, whole: bytes, damaged: Path
) -> None:
    refused(damaged, whole[: data.draw(st.integers(0, len(whole) - 1))])


@pytest.mark.parametrize("length", [0, 1, 14, 200, 511, 512, 513, 2048])
def test_a_file_cut_off_near_its_begin_is_noticed(whole: bytes, damaged: Path, length: int) -> None:
    refused(damaged, whole[:length])
    refused(damaged, whole[:-1])


@pytest.mark.parametrize("more", [b"\0", b"\n", b"x" * 4096])
def test_bytes_behind_it_are_noticed(whole: bytes, damaged: Path, more: bytes) -> None:
    refused(damaged, whole + more)


def test_parts_of_two_archives_are_not_one(whole: bytes, damaged: Path, tmp_path: Path) -> None:
    other = small_archive(tmp_path / "b.h5", "R07-02").read_bytes()
    assert len(other) == len(whole)
    refused(damaged, whole[:HEAD_BYTES] + other[HEAD_BYTES:])
    refused(damaged, whole[:4096] + other[4096:])


def test_the_text_says_what_is_wrong_and_what_to_do(whole: bytes, damaged: Path) -> None:
    cases = {
        whole[:-10]: rf"is cut off, {len(whole) - HEAD_BYTES - 10} of {len(whole) - HEAD_BYTES}",
        whole[:100]: r"is cut off, only 100 bytes are left of it",
        whole + b"\0": r"is damaged, 1 bytes are there that were not written",
        whole[:-1] + b"\xfe": r"is damaged, its content is not what was written",
    }
    for content, text in cases.items():
        damaged.write_bytes(content)
        with pytest.raises(
            ArchiveError, match=f"damaged.h5: {text}.*make it again with `imuproc process`"
        ):
            imuproc.open_archive(damaged)


@pytest.mark.parametrize("content", [b"step,side\n1,left\n" * 100, b"\x89HDF\r\n\x1a\n" * 100])
def test_any_other_file_is_no_archive(damaged: Path, content: bytes) -> None:
    damaged.write_bytes(content)
    with pytest.raises(ArchiveError, match=r"damaged\.h5: is no archive of imuproc"):
        imuproc.open_archive(damaged)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=r"nowhere\.h5: cannot be read \(No such file"):
        imuproc.open_archive(tmp_path / "nowhere.h5")
    with pytest.raises(ArchiveError, match=r"cannot be read \(Is a directory\)|Permission"):
        imuproc.open_archive(tmp_path)


def test_the_head_is_text_and_the_rest_is_hdf5(tmp_path: Path) -> None:
    path = small_archive(tmp_path / "a.h5")
    line, note = path.read_bytes()[:HEAD_BYTES].decode("ascii").splitlines()[:2]
    assert line.startswith(f"imuproc archive; schema {SCHEMA}; ")
    assert note == "HDF5 begins at byte 512; any HDF5 reader opens this file."
    with h5py.File(path) as file:
        assert file.userblock_size == HEAD_BYTES
        assert file.attrs["schema"] == SCHEMA
        steps = file["runs/R07-01/steps"]
        assert steps.attrs["unit"][steps.dtype.names.index("touchdown_s")] == b"s"
        assert steps["contact_time_s"].min() > 0.1


def test_a_newer_schema_is_refused_clearly(tmp_path: Path) -> None:
    path = small_archive(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        file.attrs["schema"] = SCHEMA + 1
    seal_archive(path, SCHEMA + 1)
    told = rf"a\.h5: is of schema {SCHEMA + 1}, this version of imuproc knows 1, 2; open it with"
    with pytest.raises(ArchiveError, match=told):
        imuproc.open_archive(path)


def test_a_head_that_names_another_schema_than_the_content_is_refused(tmp_path: Path) -> None:
    path = small_archive(tmp_path / "a.h5")
    for schema in (0, 1, 3, 5, 9, 11):
        seal_archive(path, schema)
        with pytest.raises(ArchiveError, match=r"its head does not go with its content"):
            imuproc.open_archive(path)


def test_a_whole_head_before_anything_but_hdf5_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    path.write_bytes(bytes(HEAD_BYTES) + b"no HDF5")
    seal_archive(path, 1)
    with pytest.raises(ArchiveError, match=r"a\.h5: cannot be read as HDF5"):
        imuproc.open_archive(path)
