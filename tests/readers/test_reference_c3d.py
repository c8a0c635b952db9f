"""C3D files: events by force or as stored, sides and angles by markers, and what is refused."""

import builtins
from pathlib import Path
from typing import Any

import c3d
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference
from imuproc.readers.reference import read_reference
from imuproc.readers.reference_layout import LAYOUTS
from imuproc.readers.reference_request import ReferenceRequest
from scripts import optical_running
from tests.readers.c3d_files import Capture, write
from tests.shared_data import needs_shared_data

FloatArray = NDArray[np.float64]

MARKERS = {
    "left": {"knee": "LKNE", "ankle": "LANK", "heel": "LHEE", "toe": "LTOE"},
    "right": {"knee": "RKNE", "ankle": "RANK", "heel": "RHEE", "toe": "RTOE"},
}
FORCE: dict[str, Any] = {"format": "c3d", "events": "force"}
BY_MARKERS: dict[str, Any] = {**FORCE, "markers": MARKERS, "forward": "+x"}
STORED: dict[str, Any] = {"format": "c3d", "events": "stored"}
TOUCHDOWNS = np.array([0.3, 0.6, 0.9, 1.2])
CONTACT_S = 0.16
PLATE_HZ, POINT_HZ = 1000.0, 200.0
ALL = (-10.0, 10.0, -10.0, 10.0)
SHIN_DEG, PITCH_DEG = 70.0, -8.0
"""Of the made-up legs at touchdown; they turn by 100 deg/s forward until toe-off."""


def read(path: Path, layout: dict[str, Any], standing: Path | None = None) -> Reference:
    made = LAYOUTS["c3d"].model_validate(layout)
    name = standing.name if standing else ""
    return read_reference(
        ReferenceRequest(path, path.name, made, standing=standing, standing_source=name)
    )


def force(touchdowns: FloatArray = TOUCHDOWNS, end_s: float = 1.7, zero_n: float = 4.0):
    """Contacts that load by 10 N per ms up to 900 N."""
    t = np.arange(0.0, end_s, 1.0 / PLATE_HZ)
    pushes = [
        np.clip(np.minimum(t - on, on + CONTACT_S - t) * 10_000.0, 0.0, 900.0) for on in touchdowns
    ]
    return np.sum(pushes, axis=0) + zero_n


def legs(speed_mps: float = 0.0, heading: float = 0.0, tilt_deg: float = 0.0) -> dict[str, Any]:
    """Markers of legs that take turns on the ground: left, right, left, right.

    Marker lines are turned by ``tilt_deg`` against the segments, as markers on shoes are.
    """
    t = np.arange(0.0, 1.7, 1.0 / POINT_HZ)
    turn = Rotation.from_euler("z", heading)
    out = {}
    for number, (letter, y) in enumerate((("L", 0.1), ("R", -0.1))):
        lift, forward_deg = np.full(len(t), 0.25), np.zeros(len(t))
        for on in TOUCHDOWNS[number::2]:
            inside = (t >= on - 0.02) & (t <= on + CONTACT_S + 0.02)
            lift[inside] = 0.0
            forward_deg = np.where(inside, -100.0 * (t - on), forward_deg)
        heel = np.column_stack((speed_mps * t, np.full(len(t), y), 0.02 + lift))
        parts = {"HEE": heel}
        for name, start, length, angle in (
            ("TOE", "HEE", 0.2, PITCH_DEG),
            ("ANK", "HEE", 0.1, 60.0),
            ("KNE", "ANK", 0.4, SHIN_DEG),
        ):
            own = forward_deg if name != "ANK" else np.zeros(len(t))
            a = np.radians(angle + tilt_deg + own)
            parts[name] = parts[start] + length * np.column_stack((np.cos(a), 0.0 * a, np.sin(a)))
        out |= {letter + name: turn.apply(way) for name, way in parts.items()}
    return out


def standing() -> dict[str, Any]:
    """Quiet standing along y with the marker lines 3 deg off: 93 and 3."""
    n = 50
    out = {}
    for letter, y in (("L", 0.1), ("R", -0.1)):
        heel = np.tile([-y, 0.0, 0.02], (n, 1))
        a, b = np.radians(3.0), np.radians(93.0)
        toe = heel + 0.2 * np.array([0.0, np.cos(a), np.sin(a)])
        ankle = heel + np.array([0.0, 0.04, 0.08])
        knee = ankle + 0.4 * np.array([0.0, np.cos(b), np.sin(b)])
        names = ("HEE", "TOE", "ANK", "KNE")
        out |= {letter + m: w for m, w in zip(names, (heel, toe, ankle, knee), strict=True)}
    return out


def capture(**changes: Any) -> Capture:
    usual: dict[str, Any] = {
        "markers_m": legs(),
        "point_hz": POINT_HZ,
        "forces_n": (force(),),
        "analog_hz": PLATE_HZ,
        "plates_m": (ALL,),
    }
    return Capture(**{**usual, **changes})


@pytest.mark.parametrize("unit", ["m", "mm"])
def test_events_sides_and_angles_of_a_treadmill(tmp_path: Path, unit: str) -> None:
    got = read(write(tmp_path / "run.c3d", capture(unit=unit)), BY_MARKERS)
    np.testing.assert_allclose(got.touchdown_s, TOUCHDOWNS + 0.002, atol=1e-6)
    np.testing.assert_allclose(got.toe_off_s, TOUCHDOWNS + CONTACT_S - 0.002, atol=1e-6)
    assert got.side.tolist() == ["left", "right", "left", "right"]
    angles = got.angles
    np.testing.assert_allclose(angles["shin_angle_touchdown_deg"], SHIN_DEG - 0.2, atol=0.02)
    np.testing.assert_allclose(angles["shin_angle_toe_off_deg"], SHIN_DEG - 15.8, atol=0.02)
    np.testing.assert_allclose(angles["foot_pitch_touchdown_deg"], PITCH_DEG - 0.2, atol=0.02)
    np.testing.assert_allclose(angles["foot_pitch_toe_off_deg"], PITCH_DEG - 15.8, atol=0.02)
    assert "dorsiflexion_touchdown_deg" not in angles  # its zero is that of standing
    assert any("there is no standing trial" in note for note in got.notes)
    assert (got.kind, got.threshold_n) == ("force plate", 20.0)
    assert got.resolution_s == pytest.approx(1 / PLATE_HZ)
    assert got.angle_resolution_s == pytest.approx(1 / POINT_HZ)


def test_with_a_standing_trial_angles_are_relative_to_it(tmp_path: Path) -> None:
    """Marker lines 3 deg off in both files: the segments' own angles come out."""
    run = write(tmp_path / "run.c3d", capture(markers_m=legs(tilt_deg=3.0)))
    still = write(tmp_path / "still.c3d", Capture(markers_m=standing(), point_hz=POINT_HZ))
    got = read(run, BY_MARKERS, still)
    shin, pitch = got.angles["shin_angle_touchdown_deg"], got.angles["foot_pitch_touchdown_deg"]
    np.testing.assert_allclose(shin, SHIN_DEG - 0.2, atol=0.02)
    np.testing.assert_allclose(pitch, PITCH_DEG - 0.2, atol=0.02)
    bend = got.angles["dorsiflexion_touchdown_deg"]
    np.testing.assert_allclose(bend, PITCH_DEG + 90.0 - SHIN_DEG, atol=0.02)
    assert got.notes == ()


def test_the_direction_of_running_may_come_from_the_motion(tmp_path: Path) -> None:
    path = write(
        tmp_path / "run.c3d", capture(markers_m=legs(speed_mps=5.0, heading=np.radians(145.0)))
    )
    got = read(path, {**BY_MARKERS, "forward": "motion", "first_side": "left"})
    np.testing.assert_allclose(got.angles["shin_angle_touchdown_deg"], SHIN_DEG - 0.2, atol=0.02)


def test_a_higher_threshold_moves_both_events_inwards(tmp_path: Path) -> None:
    got = read(write(tmp_path / "run.c3d", capture()), {**BY_MARKERS, "threshold_n": 50.0})
    np.testing.assert_allclose(got.touchdown_s, TOUCHDOWNS + 0.005, atol=1e-6)
    np.testing.assert_allclose(got.toe_off_s, TOUCHDOWNS + CONTACT_S - 0.005, atol=1e-6)
    assert got.threshold_n == 50.0


def test_plates_are_summed_or_chosen(tmp_path: Path) -> None:
    odd, even = force(TOUCHDOWNS[::2]), force(TOUCHDOWNS[1::2], zero_n=-3.0)
    both = capture(forces_n=(odd, even), plates_m=(ALL, ALL))
    path = write(tmp_path / "run.c3d", both)
    got = read(path, {**FORCE, "first_side": "right"})
    np.testing.assert_allclose(got.touchdown_s, TOUCHDOWNS + 0.002, atol=1e-6)
    assert got.side.tolist() == ["right", "left", "right", "left"]
    with pytest.raises(LogError, match=r"found 2 contacts; allowed: 3 or more"):
        read(path, {**FORCE, "plates": [2]})
    with pytest.raises(LogError, match=r"found no force plate 3; allowed: 1 to 2"):
        read(path, {**FORCE, "plates": [1, 3]})


def test_sides_stay_unknown_where_nothing_tells_them(tmp_path: Path) -> None:
    got = read(write(tmp_path / "run.c3d", capture()), FORCE)
    assert got.side.tolist() == [""] * 4
    assert any("Sides are unknown" in note for note in got.notes)


def test_a_foot_over_the_edge_of_its_plate_is_left_out_and_told(tmp_path: Path) -> None:
    """The plate ends under the right foot's toe: its touchdown would be late, its force small."""
    markers = legs()
    third = slice(round(0.85 * POINT_HZ), round(1.1 * POINT_HZ))
    for name in ("LHEE", "LTOE"):
        markers[name] = markers[name].copy()
        markers[name][third, 0] += 3.0
    at_edge = (-2.0, 3.1, -1.0, 1.0)
    got = read(
        write(tmp_path / "run.c3d", capture(markers_m=markers, plates_m=(at_edge,))), BY_MARKERS
    )
    np.testing.assert_allclose(got.touchdown_s, TOUCHDOWNS[[0, 1, 3]] + 0.002, atol=1e-6)
    assert any("over the edge of a plate were left out: at 0.980 s" in n for n in got.notes)


def test_contacts_cut_by_the_record_are_told(tmp_path: Path) -> None:
    vertical = force(np.array([-0.05, 0.3, 0.6, 0.9]))
    got = read(write(tmp_path / "run.c3d", capture(forces_n=(vertical,))), FORCE)
    np.testing.assert_allclose(got.touchdown_s, np.array([0.3, 0.6, 0.9]) + 0.002, atol=1e-6)
    assert "Contacts that the record begins or ends in were left out: 1." in got.notes


def test_a_marker_that_was_not_seen_leaves_its_angle_out(tmp_path: Path) -> None:
    markers = legs()
    markers["RKNE"] = markers["RKNE"].copy()
    markers["RKNE"][round(0.59 * POINT_HZ) : round(0.63 * POINT_HZ)] = np.nan
    got = read(write(tmp_path / "run.c3d", capture(markers_m=markers)), BY_MARKERS)
    missing = np.isnan(got.angles["shin_angle_touchdown_deg"])
    assert missing.tolist() == [False, True, False, False]
    assert np.isfinite(got.angles["foot_pitch_touchdown_deg"]).all()


EVENTS = (
    (61.0, "Left", "Foot Off"),
    (61.2, "Right", "Foot Strike"),
    (61.35, "Right", "Foot Off"),
    (61.5, "Left", "Foot Strike"),
    (61.66, "Left", "Foot Off"),
    (61.68, "Right", "Foot Strike"),
    (61.0, "General", "Start"),
)


def test_stored_events_are_paired_with_minutes_counted_in(tmp_path: Path) -> None:
    path = write(tmp_path / "run.c3d", capture(events=EVENTS, first_frame=12_000))
    got = read(path, {**STORED, "markers": MARKERS, "forward": "+x"})
    np.testing.assert_allclose(got.touchdown_s, [61.2, 61.5, 61.68], atol=1e-5)
    np.testing.assert_allclose(got.toe_off_s, [61.35, 61.66, np.nan], atol=1e-5)
    assert got.side.tolist() == ["right", "left", "right"]
    assert got.threshold_n is None
    assert got.resolution_s == pytest.approx(1 / POINT_HZ)
    assert np.isfinite(got.angles["shin_angle_touchdown_deg"]).all()  # frame 12001 is at 60 s


@pytest.mark.parametrize(
    ("changes", "layout", "message"),
    [
        ({"forces_n": ()}, FORCE, r"found no force plates; allowed: .* events = 'stored'"),
        ({}, STORED, r"found no stored events; allowed: .* events = 'force'"),
        ({"events": EVENTS}, {**STORED, "toe_off_label": "TO"}, r"no stored event 'TO'; found: 'F"),
        (
            {"events": (*EVENTS, (62.0, "General", "Foot Strike"))},
            STORED,
            r"'Foot Strike' with context 'General'; allowed: 'Left' or 'Right'",
        ),
        ({"markers_m": {}}, BY_MARKERS, r"found no marker 'LKNE' \(the layout's markers.left.knee"),
        ({"markers_m": {"LKN": legs()["LKNE"]}}, BY_MARKERS, r"did you mean 'LKN'"),
        ({"unit": "in"}, BY_MARKERS, r"POINT:UNITS: found 'in'; allowed: 'm', 'cm', 'mm'"),
        ({}, {**BY_MARKERS, "up": "-z"}, r"found the left knee below the ankle along up = '-z'"),
        ({}, {**BY_MARKERS, "forward": "motion"}, r"the markers go 0.00 m only, so the direction"),
        ({"force_unit": "lbf"}, FORCE, r"force plate 1: found forces in 'lbf'; allowed: 'N'"),
    ],
)
def test_what_a_file_lacks_is_said(
    tmp_path: Path, changes: dict[str, Any], layout: dict[str, Any], message: str
) -> None:
    path = write(tmp_path / "run.c3d", capture(**changes))
    with pytest.raises(LogError, match=message) as refused:
        read(path, layout)
    assert str(refused.value).startswith("run.c3d: ")


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


def test_without_the_library_the_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "run.c3d", capture())
    real = builtins.__import__

    def without(name: str, *rest: Any, **named: Any) -> Any:
        if name == "ezc3d":
            raise ImportError(name)
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(LogError, match=r'pip install "imuproc\[c3d\]"'):
        read(path, FORCE)


@needs_shared_data
def test_a_real_runner_gives_the_same_events_and_angles_as_the_data(tmp_path: Path) -> None:
    """Data: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298, written as C3D and read back.

    An independent general reader (``c3d``) checks what stands in the file.
    """
    case = next(c for c in optical_running.cases() if (c.runner, c.speed_mps) == ("RBDS002", 4.5))
    with np.load(case.path) as archive:
        data = {name: archive[name].astype(np.float64) for name in archive.files}
    vertical = data["grf_N"][:, 2]
    path = write(
        tmp_path / "real.c3d",
        Capture(
            markers_m=_markers(data),
            forces_n=(vertical,),
            first_frame=round(150.0 * data["time_s"][0]),
        ),
    )
    with path.open("rb") as file:
        frames = list(c3d.Reader(file).read_frames())
    np.testing.assert_allclose(np.concatenate([f[2][2] for f in frames]), -vertical, rtol=1e-6)
    np.testing.assert_allclose(frames[700][1][0, :3], 1e3 * _markers(data)["LANK"][700], rtol=1e-6)
    got = read(path, BY_MARKERS)
    events = optical_running.force_events(optical_running.load(case), 20.0)
    assert len(got) == len(events) + 2  # the first and the last whole contact too
    np.testing.assert_allclose(got.touchdown_s[1:-1], events["touchdown_s"], atol=1e-6)
    np.testing.assert_allclose(got.toe_off_s[1:-1], events["toe_off_s"], atol=1e-6)
    assert got.side[1:-1].tolist() == events["side"].tolist()
    for letter, side in (("L", "left"), ("R", "right")):
        own = got.side == side
        for name, curve, when in (
            ("shin_angle_touchdown_deg", "shin_angle_deg", got.touchdown_s),
            ("foot_pitch_toe_off_deg", "foot_pitch_deg", got.toe_off_s),
        ):
            true = np.interp(when[own], data["time_s"], data[f"{curve}_{letter}"])
            np.testing.assert_allclose(got.angles[name][own], true, atol=1e-3)


def _markers(data: dict[str, Any]) -> dict[str, FloatArray]:
    """Knee, ankle, heel and toe of each leg on the axes of its segments."""
    out = {}
    for letter in "LR":
        for segment, (near, far), offset in (
            ("shank", ("ANK", "KNE"), [0.0, 0.0, 0.4]),
            ("foot", ("HEE", "TOE"), [0.2, 0.0, 0.0]),
        ):
            turn = Rotation.from_quat(data[f"quat_wxyz_{segment}_{letter}"][:, [1, 2, 3, 0]])
            origin = data[f"pos_m_{segment}_{letter}"]
            out[letter + near], out[letter + far] = origin, origin + turn.apply(offset)
    return out


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
