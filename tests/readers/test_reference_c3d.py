"""C3D files: events by force or as stored, sides and angles by markers, and what is refused."""

import builtins
from pathlib import Path
from typing import Any

import c3d
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imuproc.core.errors import LogError
from scripts.lab import optical_running
from tests.readers.c3d_captures import (
    ALL,
    BY_MARKERS,
    CONTACT_S,
    FORCE,
    MARKERS,
    PITCH_DEG,
    PLATE_HZ,
    POINT_HZ,
    SHIN_DEG,
    STORED,
    TOUCHDOWNS,
    FloatArray,
    capture,
    force,
    legs,
    read,
    standing,
)
from tests.readers.c3d_files import Capture, write
from tests.shared_data import needs_shared_data


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
    case = next(
        c for c in optical_running.list_cases() if (c.runner, c.speed_mps) == ("RBDS002", 4.5)
    )
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
    events = optical_running.find_force_events(optical_running.load_case(case), 20.0)
    events[["touchdown_s", "toe_off_s"]] -= optical_running.MARKER_LAG_S
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
