"""A made-up session on disk."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from imuproc.synth.session import SessionPlan, Squad, plan_session, write_session


def small(seed: int = 5, **changes: object) -> SessionPlan:
    """One athlete, one short run at a low rate."""
    plan = plan_session(Squad(1, 1, distance_m=10.0), 100.0, "mid", seed)
    return replace(plan, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A written session."""
    return write_session(tmp_path_factory.mktemp("made") / "session", small())


def test_our_own_reader_reads_it(written: Path) -> None:
    session = read_session(written)
    recording = next(session.recordings())
    assert session.id == "simulated-5"
    assert recording.athlete.id == "R01"
    assert recording.run.distance_m == 10.0
    assert len(recording.logs) == 4
    log = recording.logs["left_shank"]
    assert log.accel_range_mps2 == pytest.approx(32.0 * 9.80665)
    assert np.linalg.norm(log.accel_mps2[:100].mean(axis=0)) == pytest.approx(9.8, abs=0.6)
    assert np.median(np.diff(log.time_s)) == pytest.approx(0.01, abs=1e-6)


def test_truth_lies_beside_the_logs_on_their_clock(written: Path) -> None:
    steps = pd.read_csv(written.parent / "truth" / "R01-01_steps.csv")
    curves = pd.read_csv(written.parent / "truth" / "R01-01_curves.csv")
    log = pd.read_csv(written.parent / "logs" / "R01-01_rf.csv")
    assert {"step", "side", "touchdown_s", "shin_angle_touchdown_deg", "gait"} <= set(steps)
    for table in (steps["touchdown_s"], curves["time_s"]):
        assert log["time_s"].iloc[0] - 0.02 < table.min()
        assert table.max() < log["time_s"].iloc[-1] + 0.02
    assert curves["shin_angle_left_deg"].iloc[:200].mean() == pytest.approx(90.0, abs=0.3)


def test_same_seed_same_bytes(written: Path, tmp_path: Path) -> None:
    again = write_session(tmp_path / "again", small())
    for path in sorted(written.parent.rglob("*.*")):
        assert (again.parent / path.relative_to(written.parent)).read_bytes() == path.read_bytes()


def test_gzipped_files_are_the_same_again_and_readable(tmp_path: Path) -> None:
    one, two = (write_session(tmp_path / name, small(compress=True)) for name in ("a", "b"))
    first, second = (next((p.parent / "logs").glob("*_lf.csv.gz")) for p in (one, two))
    assert first.read_bytes() == second.read_bytes()
    assert len(next(read_session(one).recordings()).logs) == 4


def test_a_folder_with_something_in_it_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(SessionError, match="is not empty; name a new folder"):
        write_session(tmp_path, small())
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


def test_athletes_keep_their_body_and_starts_take_turns() -> None:
    squad = Squad(2, 3, starts=("blocks", "standing"), faults=("reaching",))
    plan = plan_session(squad, 500.0, "low", 9)
    assert [run.id for run in plan.runs[:4]] == ["R01-01", "R01-02", "R01-03", "R02-01"]
    assert [run.plan.start for run in plan.runs[:3]] == ["blocks", "standing", "blocks"]
    assert len({run.plan.body for run in plan.runs}) == 2
    assert len({run.plan.seed for run in plan.runs}) == 6
    assert all(run.plan.faults == ("reaching",) for run in plan.runs)


@pytest.mark.parametrize(
    ("squad", "rate_hz", "grade", "words"),
    [
        (Squad(1, 1, starts=("sitting",)), 500.0, "mid", "start 'sitting' is not one of blocks"),  # type: ignore[arg-type]
        (Squad(1, 1, faults=("limp",)), 500.0, "mid", "fault 'limp' is not one of toe-drop"),  # type: ignore[arg-type]
        (Squad(1, 1), 500.0, "best", "grade 'best' is not one of ideal"),
        (Squad(0, 1), 500.0, "mid", "athletes is 0; it must be from 1 to 99"),
        (Squad(1, 1), 10.0, "mid", "rate is 10; it must be from 50 to 2000"),
        (Squad(1, 1, distance_m=float("nan")), 500.0, "mid", "distance is nan"),
    ],
)
def test_what_cannot_be_made_is_refused_by_name(
    squad: Squad, rate_hz: float, grade: str, words: str
) -> None:
    with pytest.raises(SessionError, match=words):
        plan_session(squad, rate_hz, grade, 1)


def test_runs_in_one_log_are_numbered(tmp_path: Path) -> None:
    plan = plan_session(Squad(1, 1, distance_m=10.0), 100.0, "mid", 4)
    path = write_session(tmp_path / "long", replace(plan, one_log=True, clock="jump"))
    recording = next(read_session(path).recordings())
    assert recording.run.id == "R01-01"
    assert recording.run.clock == "jump"
    assert len(list((path.parent / "logs").iterdir())) == 4
    steps = pd.read_csv(path.parent / "truth" / "R01-01_1_steps.csv")
    log = pd.read_csv(path.parent / "logs" / "R01-01_ls.csv")
    # The jump and standing come before the run.
    assert steps["touchdown_s"][0] - log["time_s"][0] > 12.0


def test_feet_that_clip_earlier_have_a_layout_of_their_own(tmp_path: Path) -> None:
    recording = next(
        read_session(write_session(tmp_path / "m", small(grade="mid16g"))).recordings()
    )
    ranges_g = {site: log.accel_range_mps2 / 9.80665 for site, log in recording.logs.items()}
    assert ranges_g == pytest.approx(
        {"left_shank": 32.0, "left_foot": 16.0, "right_shank": 32.0, "right_foot": 16.0}
    )
