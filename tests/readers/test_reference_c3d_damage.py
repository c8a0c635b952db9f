"""C3D files that are cut, spoiled or inconsistent are refused before the library opens them."""

from pathlib import Path

import c3d
import numpy as np
import pytest

from imuproc.core.errors import LogError
from tests.readers.c3d_captures import FORCE, PLATE_HZ, POINT_HZ, capture, read
from tests.readers.c3d_files import write


def test_damaged_files_are_refused(tmp_path: Path) -> None:
    whole = write(tmp_path / "run.c3d", capture()).read_bytes()
    path = tmp_path / "bad.c3d"
    for content in (b"touchdown,toe_off\n", whole[:300], bytes(600)):
        path.write_bytes(content)
        with pytest.raises(LogError, match=r"^bad.c3d: this is not a C3D file, or it is cut short"):
            read(path, FORCE)
    for length in (700, len(whole) // 2, len(whole) - 600):
        path.write_bytes(whole[:length])
        with pytest.raises(LogError, match=rf"cut short: found {length} bytes; allowed: \d+"):
            read(path, FORCE)


def record(whole: bytes, name: bytes) -> int:
    """Where a parameter's name stands; its record begins two bytes before."""
    return whole.index(name, 512)


def spoiled(whole: bytes, place: int, value: bytes) -> bytes:
    return whole[:place] + value + whole[place + len(value) :]


def test_a_chain_of_parameters_that_is_broken_is_refused_at_once(tmp_path: Path) -> None:
    """The library would look for the end of some of these without end, or end the process."""
    whole = write(tmp_path / "run.c3d", capture()).read_bytes()
    path = tmp_path / "bad.c3d"
    used = record(whole, b"USED")
    for place, value in (
        (used + 4, b"\xff\xff"),  # way to the next record: far out, or backwards where signed
        (used + 4, b"\x01\x00"),  # into itself
        (used - 2, b"\x7f"),  # length of the name
        (used + 6, b"\x07"),  # type of the values
        (used + 7, b"\xff"),  # number of dimensions
        (record(whole, b"LABELS") + 9, b"\xff\xff"),  # dimensions
    ):
        path.write_bytes(spoiled(whole, place, value))
        with pytest.raises(LogError, match=r"damaged: record \d+ of its parameters \(at byte"):
            read(path, FORCE)


@pytest.mark.parametrize(
    ("name", "behind", "value", "message"),
    [
        (b"FRAMES", 10, b"\xff\xff", r"cut short: found \d+ bytes; allowed: \d+"),
        (b"USED", 8, b"\xf0\x7f", r"cut short: found \d+ bytes; allowed: \d+"),
        (b"RATIO", 9, b"\x00\xbb", r"ROTATION:RATIO is 47872; allowed: at most 100"),
        (b"LABELS", 9, b"\x00", r"the text [A-Z]+:LABELS has no dimensions"),
        (b"CHANNEL", 13, b"\xe8\x03", r"FORCE_PLATFORM:CHANNEL names signal 1000; allowed: 1 to 6"),
    ],
)
def test_counts_that_the_file_cannot_hold_are_refused(
    tmp_path: Path, name: bytes, behind: int, value: bytes, message: str
) -> None:
    whole = write(tmp_path / "run.c3d", capture()).read_bytes()
    path = tmp_path / "bad.c3d"
    path.write_bytes(spoiled(whole, record(whole, name) + behind, value))
    with pytest.raises(LogError, match=message):
        read(path, FORCE)


def test_a_file_of_another_writer_is_whole_and_without_scales_is_refused(tmp_path: Path) -> None:
    """ezc3d reads beyond the list of scales when there are fewer than signals, and crashes."""
    made = c3d.Writer(point_rate=POINT_HZ, analog_rate=PLATE_HZ, point_units="mm")
    made.set_point_labels(["LKNE", "LANK"])
    made.set_analog_labels(["Fz"])
    for _ in range(200):
        made.add_frames([(np.ones((2, 5)), np.ones((1, 5)))])
    path = tmp_path / "other.c3d"
    with path.open("wb") as file:
        made.write(file)
    with pytest.raises(LogError, match=r"ANALOG:SCALE holds 0 numbers for 1 signals; allowed: 1"):
        read(path, FORCE)
    made.set_analog_scales([1.0])
    made.set_analog_offsets([0])
    with path.open("wb") as file:
        made.write(file)
    with pytest.raises(LogError, match=r"found no force plates"):  # it is read, and has none
        read(path, FORCE)
