"""An archive of each schema there ever was, kept as it was written: all of them open for ever.

The numbers are what the archive held on the day it was made (``scripts/make_kept_archive.py``).
"""

import hashlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import imuproc
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval
from imuproc.results.archive.reading import Archive
from imuproc.results.archive.schema import KNOWN_SCHEMAS, SCHEMA

KEPT = Path(__file__).parent / "kept"
OF_THE_DAY = {
    1: "c3b0a42da6b3a6873af7c545705f6dd6592e3b882560229b1a7937e8375594ca",
    2: "ad7cfdf652a0b65e6968f42b145d85c88681fa615a9737b3918da913b765fbd8",
}


@pytest.fixture
def archive() -> Iterator[Archive]:
    with imuproc.open_archive(KEPT / "schema-1.h5") as archive:
        yield archive


def test_there_is_one_of_every_schema_and_it_is_small() -> None:
    files = sorted(KEPT.iterdir())
    assert [file.name for file in files] == [f"schema-{n}.h5" for n in range(1, SCHEMA + 1)]
    assert len(files) == len(KNOWN_SCHEMAS)
    assert all(file.stat().st_size < 300_000 for file in files)


@pytest.mark.parametrize("schema", KNOWN_SCHEMAS)
def test_it_is_the_file_of_the_day_not_made_again(schema: int) -> None:
    kept = (KEPT / f"schema-{schema}.h5").read_bytes()
    assert hashlib.sha256(kept).hexdigest() == OF_THE_DAY[schema]


def test_session_and_runs(archive: Archive) -> None:
    assert archive.kind == "session"
    assert archive.session == {"id": "harbour-2031-04-12", "date": "2031-04-12"}
    assert archive.runs == ("R07-01", "R07-02")
    assert len(archive.steps) == 8


def test_steps_and_uncertainty(archive: Archive) -> None:
    run = archive.run("R07-01")
    steps = run.steps
    first = steps.iloc[0]
    assert steps["side"].tolist() == ["left", "right"] * 4
    assert steps["step"].tolist() == list(range(1, 9))
    assert first["touchdown_s"] == pytest.approx(246.715428, abs=1e-6)
    assert first["contact_time_s"] == pytest.approx(0.189332, abs=1e-6)
    assert first["contact_time_s_u"] == pytest.approx(0.005156, abs=1e-6)
    assert first["shin_angle_touchdown_deg"] == pytest.approx(48.835906, abs=1e-6)
    assert first["step_length_m"] == pytest.approx(1.004074, abs=1e-6)
    assert steps["shin_angle_touchdown_deg"].isna().tolist() == [False, True] * 4
    assert steps["flags"].tolist() == [""] * 6 + ["drift_large;event_unsure", ""]
    parts = run.uncertainty["step_length_m"].iloc[0]
    assert set(parts.index) == {
        *("stride", "stance", "clipping", "asymmetry", "touchdown", "toe_off"),
    }
    assert parts["stride"] == pytest.approx(0.0256733602, abs=1e-10)
    assert run.distance is not None
    assert run.distance["value_m"] == pytest.approx(6.0740962306, abs=1e-10)


def test_events(archive: Archive) -> None:
    first = archive.run("R07-01").events.iloc[0]
    assert first["side"] == "left"
    assert first["toe_off_s"] == pytest.approx(246.90476, abs=1e-6)
    assert first["toe_off_u_s"] == pytest.approx(0.003937, abs=1e-6)
    assert first["jerk_mps3"] == pytest.approx(4431.560792, abs=1e-6)
    assert np.isnan(first["push_off_s"])


def test_curves(archive: Archive) -> None:
    run = archive.run("R07-01")
    assert run.time_s.shape == (955,)
    assert run.time_s[[0, -1]].tolist() == [242.4075767557233, 251.9475767557233]
    assert run.curve_names == (
        "shin_angle_left_deg",
        "foot_pitch_left_deg",
        "dorsiflexion_left_deg",
        "foot_pitch_right_deg",
    )
    assert run.curve("shin_angle_left_deg")[[0, 400, 600]].tolist() == pytest.approx(
        [89.8981094360, 51.1264266968, 32.2048645020], abs=1e-9
    )


def test_signals_and_motion(archive: Archive) -> None:
    run = archive.run("R07-01")
    assert run.sites == ("left_shank", "left_foot", "right_foot")
    assert run.moving_sites == ("left_foot", "left_shank", "right_foot")
    signals, moving = run.signals("right_foot"), run.motion("left_foot")
    assert signals.accel_mps2[500].tolist() == pytest.approx(
        [-48.8841896057, -9.5857648849, 45.6297950745], abs=1e-9
    )
    assert signals.gyro_radps[500].tolist() == pytest.approx(
        [-1.0220146179, 4.7571759224, -0.8077828288], abs=1e-9
    )
    assert signals.measured.all()
    assert moving.velocity_mps[500].tolist() == pytest.approx(
        [7.5471835136, 0.0860930309, 3.8638315201], abs=1e-9
    )
    assert moving.quat_wxyz[500].tolist() == pytest.approx(
        [0.6715302467, -0.0160379149, 0.7367680073, 0.0772194266], abs=1e-9
    )
    calibration = run.signals("left_shank").calibration
    assert calibration.still_before == Interval(242.4075767557233, 243.3275767557233)
    assert calibration.segment_from_sensor[0, 0] == pytest.approx(0.04669803, abs=1e-8)
    assert calibration.vertical_known
    assert len(calibration.rests) == 3


def test_where_it_came_from(archive: Archive) -> None:
    run = archive.run("R07-01")
    assert run.versions["imuproc"] == "0.1.0"
    assert run.fingerprint.startswith("7ddd0f95a80594c8")
    assert run.inputs["logs/right_foot"].startswith("f5b0f33b73862b3d")
    assert run.settings["motion"]["stance_from"] == 0.35
    assert [entry.stage for entry in run.history][-1] == "pipeline.table"
    assert run.flags[0] == RaisedFlag("low_rate", {"detail": "100 Hz"}, "left_shank")
    assert RaisedFlag("drift_large", {"figure": "foot_pitch_toe_off_deg"}, step=7) in run.flags
    assert run.about["athlete"]["note"] == "Läuft gern"
    assert run.about["rate_hz"] == 100.0
    assert run.summary["figures"]["mean_contact_time_s"] == pytest.approx(0.1656804146, abs=1e-10)


def test_the_run_that_failed(archive: Archive) -> None:
    run = archive.run("R07-02")
    assert run.status == "failed"
    assert run.summary["reason"] == "no sprint steps found"
    assert len(run.steps) == 0


def test_flags_of_schema_2_are_values() -> None:
    with imuproc.open_archive(KEPT / "schema-2.h5") as archive:
        flags = archive.run("R07-01").flags
    rate = {"rate_hz": pytest.approx(100.0)}
    assert [(flag.name, flag.site, flag.step, flag.values) for flag in flags] == [
        ("low_rate", "left_shank", None, rate),
        ("low_rate", "left_foot", None, rate),
        ("missing_leg", "", None, {"side": "right"}),
        ("outside_evidence", "", None, {"outside": 3, "steps": 3}),
        (
            "drift_large",
            "",
            2,
            {"figure": "foot_pitch_swing_min_deg", "value": pytest.approx(-42.487970, abs=1e-6)},
        ),
        ("event_unsure", "", 2, {}),
        ("event_unsure", "", 3, {}),
    ]


@pytest.mark.parametrize("schema", KNOWN_SCHEMAS)
def test_flags_of_every_schema_have_their_words(schema: int) -> None:
    with imuproc.open_archive(KEPT / f"schema-{schema}.h5") as archive:
        told = {(flag.name, describe_flag(flag)) for flag in archive.run("R07-01").flags}
    figure = {1: "foot pitch toe off", 2: "foot pitch swing min"}[schema]
    assert {("low_rate", "100 Hz"), ("drift_large", figure), ("event_unsure", "")} <= told
