"""References as people and programs write them down: what is read, and what is refused how."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference
from imuproc.readers.references.layout import LAYOUTS, check_layout
from imuproc.readers.references.registry import read_reference
from imuproc.readers.references.request import ReferenceRequest

COLUMNS = {"side": "foot", "touchdown": "on", "toe_off": "off"}
FRAMES: dict[str, Any] = {
    "format": "events",
    "kind": "video",
    "unit": "frame",
    "frame_rate_hz": 240.0,
    "columns": COLUMNS,
}
SECONDS: dict[str, Any] = {"format": "events", "kind": "events", "unit": "s", "columns": COLUMNS}
CELLS: dict[str, Any] = {
    "format": "photocells",
    "unit": "ms",
    "rate_hz": 1000.0,
    "columns": {"contact_time": "tc", "flight_time": "tf", "side": "foot"},
}
VIDEO = """foot,on,off,shin
L,100,136,48
r,160,193,52.5
L,217,247,
"""


def read(tmp_path: Path, text: str | bytes, layout: dict[str, Any]) -> Reference:
    path = tmp_path / "reference.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    made = LAYOUTS[layout["format"]].model_validate(layout)
    return read_reference(ReferenceRequest(path, "video/reference.csv", made, (0.25, 4.0)))


def test_frames_become_seconds_and_the_frame_interval_is_kept(tmp_path: Path) -> None:
    angles = {"shin_angle_touchdown_deg": "shin"}
    got = read(tmp_path, VIDEO, {**FRAMES, "angles": angles})
    assert got.side.tolist() == ["left", "right", "left"]
    np.testing.assert_allclose(got.touchdown_s, np.array([100, 160, 217]) / 240)
    np.testing.assert_allclose(got.toe_off_s, np.array([136, 193, 247]) / 240)
    np.testing.assert_array_equal(got.angles["shin_angle_touchdown_deg"], [48.0, 52.5, np.nan])
    assert (got.kind, got.has_clock, got.threshold_n) == ("video", True, None)
    assert got.resolution_s == got.angle_resolution_s == 1 / 240
    assert (got.start_s, got.end_s) == (0.25, 4.0)
    assert np.isnan(got.contact_time_s).all()


@pytest.mark.parametrize(
    ("unit", "factor"), [("s", 1.0), ("ms", 1e-3), ("us", 1e-6)], ids=["s", "ms", "us"]
)
def test_times_are_read_in_their_unit(tmp_path: Path, unit: str, factor: float) -> None:
    rows = [("left", 0.4), ("right", 0.65), ("left", 0.9)]
    lines = [f"{side}\t{on / factor!r}\t{(on + 0.15) / factor!r}" for side, on in rows]
    got = read(tmp_path, "\n".join(["foot\ton\toff", *lines]), {**SECONDS, "unit": unit})
    np.testing.assert_allclose(got.touchdown_s, [0.4, 0.65, 0.9], rtol=1e-12)
    np.testing.assert_allclose(got.toe_off_s, [0.55, 0.8, 1.05], rtol=1e-12)
    assert np.isnan(got.resolution_s)


def test_a_spreadsheet_with_decimal_commas_and_its_own_words(tmp_path: Path) -> None:
    text = "\ufeff# Lauf 3\nfoot;on;off\nLinks;0,4;0,55\nRECHTS;0,65;\nlinks;;1,05\n"
    sides = {"Links": "left", "Rechts": "right"}
    got = read(tmp_path, text, {**SECONDS, "sides": sides})
    assert got.side.tolist() == ["left", "right", "left"]
    np.testing.assert_array_equal(got.touchdown_s, [0.4, 0.65, np.nan])
    np.testing.assert_array_equal(got.toe_off_s, [0.55, np.nan, 1.05])


def test_sides_may_come_one_after_the_other_and_are_put_in_order_of_time(tmp_path: Path) -> None:
    text = "foot,on,off\nl,1.0,1.1\nl,1.5,1.6\nr,0.7,0.8\nr,1.25,1.4\n"
    got = read(tmp_path, text, SECONDS)
    assert got.side.tolist() == ["right", "left", "right", "left"]
    assert got.touchdown_s.tolist() == [0.7, 1.0, 1.25, 1.5]
    assert got.toe_off_s.tolist() == [0.8, 1.1, 1.4, 1.6]


@pytest.mark.parametrize(("side", "word"), [("left", "left"), ("unknown", "")])
def test_one_side_or_none_may_be_stated_for_the_whole_file(
    tmp_path: Path, side: str, word: str
) -> None:
    layout = {**SECONDS, "columns": {"touchdown": "on"}, "side": side}
    got = read(tmp_path, "on\n0.5\n1.0\n1.5\n", layout)
    assert got.side.tolist() == [word] * 3
    assert np.isnan(got.toe_off_s).all()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (VIDEO.replace("136", "99"), r"line 2: found toe-off at 99 and touchdown at 100"),
        (VIDEO.replace("217,247", "90,97"), r"line 4: found a left contact at 90 below one at 100"),
        (VIDEO.replace("217,247", "100,136"), r"line 4: found the left contact at 100 again, as i"),
        (VIDEO.replace("217", "130"), r"line 4: found a left touchdown at 130, before the toe-off"),
        (VIDEO.replace("r,160", "x,160"), r"line 3, column 'foot': found 'x'; allowed: 'left', 'r"),
        (VIDEO.replace("r,160", ",160"), r"line 3, column 'foot': found ''"),
        (VIDEO.replace("160", "16o"), r"line 3, column 'on': found '16o'; allowed: a number"),
        (VIDEO.replace("160", "inf"), r"line 3, column 'on': found 'inf'; allowed: a number"),
        (VIDEO.replace("160,193", ","), r"line 3: found neither touchdown nor toe-off"),
        ("\n".join(VIDEO.split("\n")[:3]), r"found 2 contacts; allowed: 3 or more"),
        ("foot,on,off\n", r"found no rows below the header in line 1"),
        ("", r"the file is empty"),
        ("# nothing\n\n", r"only blank lines or comments"),
        (VIDEO.replace("on,", "onn,"), r"line 1: found no column 'on'; .* did you mean 'onn'"),
        (VIDEO.replace("shin", "on"), r"line 1: the column 'on' is there 2 times"),
        (VIDEO.replace("193,52.5", "193"), r"line 3: found 3 cells; allowed: 4"),
        (VIDEO.replace("52.5", "52,5"), r"line 3: found 5 cells.*decimal commas"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\x01", r"this is not text"),
        (VIDEO.replace("136", "9136"), r"line 4: found a left touchdown at 217, before the toe-o"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(
    tmp_path: Path, text: str | bytes, message: str
) -> None:
    with pytest.raises(LogError, match=message) as refused:
        read(tmp_path, text, FRAMES)
    assert str(refused.value).startswith("video/reference.csv: ")


def test_a_wrong_unit_shows_in_the_contact_times(tmp_path: Path) -> None:
    with pytest.raises(LogError, match=r"last 33 s in the middle; allowed: 0.02 to 2 s"):
        read(tmp_path, VIDEO, SECONDS)


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    layout = LAYOUTS["events"].model_validate(FRAMES)
    with pytest.raises(LogError, match=r"^v.csv: there is no such file"):
        read_reference(ReferenceRequest(tmp_path / "v.csv", "v.csv", layout))
    with pytest.raises(LogError, match=r"^v: found a folder"):
        read_reference(ReferenceRequest(tmp_path, "v", layout))


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        ({**FRAMES, "frame_rate_hz": None}, r'unit = "frame" without frame_rate_hz'),
        ({**FRAMES, "frame_rate_hz": 0.0}, r"the number 0.0; allowed: the rate in Hz .* above 0"),
        ({**FRAMES, "kind": "vid"}, r"found the text 'vid'; allowed: 'video', .*did you mean"),
        ({**FRAMES, "angles": {"shin_deg": "a"}}, r"found the key 'shin_deg'; allowed: 'shin_angl"),
        ({**FRAMES, "side": "left"}, r"both columns.side and side"),
        ({**FRAMES, "columns": {"touchdown": "on"}}, r"neither columns.side nor side"),
        ({**FRAMES, "threshold_n": 200.0}, r"newtons, above 0 and below 80"),
        ({**CELLS, "unit": "frame"}, r"found the text 'frame'; allowed: 's', 'ms', 'us'"),
        (
            {"format": "video"},
            r"found the text 'video'; allowed: 'events', 'photocells', 'c3d', 'bi",
        ),
        ({}, r"found nothing; allowed: 'events'"),
        ({**FRAMES, "fps": 240.0}, r"unknown key 'fps'; allowed: "),
        ({"format": "bids-events"}, r"found no touchdowns; allowed: either contacts"),
        ({"format": "c3d", "events": "force", "forward": "-z"}, r"allowed: two different axes"),
        (
            {"format": "c3d", "events": "force", "markers": {"left": {}, "right": {}}},
            r"markers without forward",
        ),
    ],
)
def test_a_layout_says_what_it_allows(layout: dict[str, Any], message: str) -> None:
    checked, problems = check_layout("phone", layout)
    assert checked is None
    assert all(one.loc[:2] == ("layout", "phone") for one in problems)
    assert re.search(message, "; ".join(one.text for one in problems)), problems


def test_photocells_have_durations_and_no_clock(tmp_path: Path) -> None:
    text = "n;foot;tc;tf\n1;L;152;78\n2;R;149;81\n3;L;147;\n"
    got = read(tmp_path, text, CELLS)
    np.testing.assert_allclose(got.contact_time_s, [0.152, 0.149, 0.147])
    np.testing.assert_allclose(got.flight_time_s, [0.078, 0.081, np.nan])
    assert np.isnan(got.touchdown_s).all()
    assert (got.kind, got.has_clock, got.resolution_s) == ("photocells", False, 0.001)
    assert got.side.tolist() == ["left", "right", "left"]


def test_photocells_that_cannot_be_are_refused(tmp_path: Path) -> None:
    layout = {**CELLS, "columns": {"contact_time": "tc"}, "side": "unknown"}
    with pytest.raises(LogError, match=r"line 3, column 'tc': found -3; allowed: a time above 0"):
        read(tmp_path, "tc\n150\n-3\n150\n", layout)
    with pytest.raises(LogError, match=r"found 2 contacts; allowed: 3 or more"):
        read(tmp_path, "tc\n150\n151\n", layout)
    with pytest.raises(LogError, match=r"last 0.0001\d* s in the middle.*check the layout's unit"):
        read(tmp_path, "tc\n0.15\n0.15\n0.15\n", layout)


BIDS = """onset\tduration\ttrial_type
0.1\t0\tstart
0.90\t0.15\tcontact_left
1.15\t0.14\tcontact_right
1.40\t0.13\tcontact_left
1.64\tn/a\tcontact_right
"""


def test_bids_events_that_last_as_long_as_the_contact(tmp_path: Path) -> None:
    words = {"contact_left": "left", "contact_right": "right"}
    got = read(tmp_path, BIDS, {"format": "bids-events", "contacts": words, "rate_hz": 250.0})
    np.testing.assert_allclose(got.touchdown_s, [0.90, 1.15, 1.40, 1.64])
    np.testing.assert_allclose(got.toe_off_s, [1.05, 1.29, 1.53, np.nan])
    assert got.side.tolist() == ["left", "right", "left", "right"]
    assert got.notes == ("Rows of other kinds that were passed over: 1.",)
    assert got.resolution_s == 1 / 250


def test_bids_events_as_single_events_are_put_together(tmp_path: Path) -> None:
    rows = [
        (0.50, "off_l"),  # the foot that leaves first
        (0.90, "on_l"),
        (1.05, "off_l"),
        (1.15, "on_r"),
        (1.29, "off_r"),
        (1.40, "on_l"),  # its toe-off was not seen
        (1.90, "on_l"),
        (2.05, "off_l"),
    ]
    text = "\n".join(["onset\tduration\tvalue", *(f"{t}\t0\t{word}" for t, word in rows)])
    layout = {
        "format": "bids-events",
        "column": "value",
        "touchdowns": {"on_l": "left", "on_r": "right"},
        "toe_offs": {"off_l": "left", "off_r": "right"},
    }
    got = read(tmp_path, text, layout)
    np.testing.assert_allclose(got.touchdown_s, [0.90, 1.15, 1.40, 1.90])
    np.testing.assert_allclose(got.toe_off_s, [1.05, 1.29, np.nan, 2.05])
    assert "left out: 1." in got.notes[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (BIDS.replace("contact_left", "step"), r"found no row 'contact_left', which the layout"),
        (BIDS.replace("0.90", "n/a"), r"line 3, column 'onset': found nothing"),
        (BIDS.replace("0.90", "0,9s"), r"line 3, column 'onset': found '0,9s'"),
        (BIDS.replace("duration", "length"), r"found no column 'duration'"),
    ],
)
def test_bids_events_that_cannot_be_are_refused(tmp_path: Path, text: str, message: str) -> None:
    words = {"contact_left": "left", "contact_right": "right"}
    with pytest.raises(LogError, match=message):
        read(tmp_path, text, {"format": "bids-events", "contacts": words})
