"""Whole studies, as a user makes them: from logs and references on disk to how far they agree.

Real runners on force plates: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298.
"""

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imuproc.agreement.study import StudyResult, compare_study
from imuproc.batch.agreement import run_study
from imuproc.batch.process import SessionOptions, process_session
from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from imuproc.readers.study import read_study
from imuproc.report.agreement.moments import worst_moments
from imuproc.synth.session import Squad, plan_session, write_session
from scripts.agreement_study import make_study
from scripts.lab.optical_running import list_cases
from scripts.lab.study_folders import (
    VIDEO_LAYOUT,
    Seen,
    draw_simulated_seen,
    format_study,
    write_references,
)
from tests.shared_data import needs_shared_data


def process_beside(session: Path) -> None:
    """Results in ``out`` beside the session file."""
    options = SessionOptions(jobs=1, report=False)
    assert not process_session(session, session.parent / "out", options).failed


def select_whole(result: StudyResult, figure: str) -> pd.Series:
    assert result.agreement is not None
    table = result.agreement.agreement
    return table[
        (table["figure"] == figure) & (table["per"] == "step") & (table["by"] == "all")
    ].iloc[0]


@dataclass(frozen=True)
class Made:
    """A folder with results, references and study files, and what the references hold."""

    folder: Path
    seen: list[Seen]

    def true_of(self, paired: pd.DataFrame) -> pd.DataFrame:
        """The true contact of each pair, on the logs' clock."""
        by_run = {one.run: one.contacts.reset_index(drop=True) for one in self.seen}
        rows = [
            by_run[run].iloc[row - 1]
            for run, row in zip(paired["run"], paired["reference_row"], strict=True)
        ]
        return pd.DataFrame(rows)

    def offsets(self, result: StudyResult) -> tuple[list[float], list[float]]:
        """Errors of the clocks' offsets in s, and their stated uncertainties."""
        true = {one.run: one.offset_s for one in self.seen}
        clocks = {one.result.run: one.comparison.clock for one in result.compared}
        known = {run: clock for run, clock in clocks.items() if clock is not None}
        return (
            [float(c.to_reference(c.at_s)) - c.at_s - true[run] for run, c in known.items()],
            [c.offset_u_s for c in known.values()],
        )


# --- Real runners on force plates -----------------------------------------------------------------


@pytest.fixture(scope="module")
def plates(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("plates")
    wanted = {("RBDS002", 2.5), ("RBDS021", 3.5), ("RBDS028", 4.5)}
    chosen = [case for case in list_cases() if (case.runner, case.speed_mps) in wanted]
    seen = make_study(folder, chosen, seed=1)
    process_beside(folder / "session.toml")
    return Made(folder, seen)


@needs_shared_data
def test_real_contact_times_agree_with_the_plates(plates: Made, tmp_path: Path) -> None:
    study = replace(read_study(plates.folder / "instant.toml"), figures=("contact_time_s",))
    result = run_study(study, tmp_path / "agreement").result
    assert not result.failed
    contact = select_whole(result, "contact_time_s")
    assert contact["athletes"] == 3
    # The force of RBDS002 at 2.5 m/s ends 12 ms after every mark of the foot: the others of the
    # three alone stay below 5 ms.
    assert abs(contact["bias"]) < 0.004
    assert contact["rmse"] < 0.009
    assert result.agreement is not None
    paired = result.agreement.paired
    true = plates.true_of(paired)
    error = (paired["table"] - (true["toe_off_s"] - true["touchdown_s"]).to_numpy()).to_numpy()
    assert contact["bias"] == pytest.approx(error.mean(), abs=1e-4)
    assert contact["rmse"] == pytest.approx(np.sqrt(np.mean(error**2)), abs=1e-4)
    total = result.agreement.detection_total.iloc[0]
    assert (total["missed"], total["invented"]) == (0, 0)
    assert total["found"] == sum(len(one.contacts) for one in plates.seen)
    drawn = {path.stem for path in (tmp_path / "agreement/pictures").iterdir()}
    assert "difference_contact_time_s" in drawn


@needs_shared_data
def test_a_known_instant_gives_the_offset(plates: Made) -> None:
    result = compare_study(read_study(plates.folder / "instant.toml"))
    error_s, _ = plates.offsets(result)
    assert len(error_s) == 3
    assert max(map(abs, error_s)) < 0.003  # it is told to 1 ms (one standard uncertainty)
    assert len(worst_moments(result)) == 3


@needs_shared_data
def test_steps_like_clockwork_are_refused_and_others_find_their_clock(plates: Made) -> None:
    """A treadmill at one speed, seen neither at the start nor at the end."""
    result = compare_study(read_study(plates.folder / "events.toml"))
    assert [one.asked.id for one in result.failed] == ["RBDS002-2p5"]
    assert "the steps are too regular or too few" in result.failed[0].reason
    assert abs(select_whole(result, "contact_time_s")["bias"]) < 0.004
    assert np.isnan(select_whole(result, "touchdown_s")["bias"])  # it went into the offset
    assert result.agreement is not None
    paired = result.agreement.paired
    for one, error_s in zip(result.compared, plates.offsets(result)[0], strict=True):
        # What touchdown and toe-off are late by together cannot be told from an offset.
        late_s = [
            float(np.mean(rows["table"].to_numpy() - plates.true_of(rows)[event].to_numpy()))
            for event in ("touchdown_s", "toe_off_s")
            for rows in [paired[(paired["run"] == one.asked.id) & (paired["figure"] == event)]]
        ]
        assert error_s == pytest.approx(-np.mean(late_s), abs=0.001)
        assert abs(error_s) < 0.004


# --- Made-up sprints beside a camera --------------------------------------------------------------


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A sprint of each of two athletes; the camera counts frames and misses one in ten."""
    folder = tmp_path_factory.mktemp("film") / "session"
    session = write_session(folder, plan_session(Squad(2, 1, distance_m=30.0), 500.0, "mid", 21))
    process_beside(session)
    runs = [run.id for run in read_session(session).runs]
    seen = draw_simulated_seen(folder, runs, 0.1, np.random.default_rng(8))
    write_references(folder, seen, 240.0)
    (folder / "study.toml").write_text(format_study(seen, VIDEO_LAYOUT), encoding="utf-8")
    return Made(folder, seen)


def test_sprints_agree_with_a_camera_as_far_as_its_frames_allow(film: Made) -> None:
    result = compare_study(read_study(film.folder / "study.toml"))
    assert not result.failed
    contact = select_whole(result, "contact_time_s")
    assert abs(contact["bias"]) < 0.004
    assert contact["upper"] - contact["lower"] < 0.030
    assert contact["resolution_sd"] == pytest.approx(1.0 / 240.0 / np.sqrt(6.0), rel=1e-6)
    assert 0.05 < contact["resolution_share"] < 1.0
    error_s, u_s = film.offsets(result)
    assert max(map(abs, error_s)) < 0.003
    assert max(np.abs(error_s) / u_s) < 3.0


def test_what_a_camera_missed_is_listed_and_changes_no_figure(film: Made, tmp_path: Path) -> None:
    study = read_study(film.folder / "study.toml")
    study = replace(study, figures=("contact_time_s", "step_time_s"))
    result = run_study(study, tmp_path / "agreement").result
    with (tmp_path / "agreement/exclusions.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    lonely = [row for row in rows if row["reason"].startswith("invented")]
    assert result.agreement is not None
    total = result.agreement.detection_total.iloc[0]
    assert len(lonely) == total["invented"] > 0
    paired = result.agreement.paired
    used = paired[paired["figure"] == "step_time_s"]
    # A step beside one that the camera missed would be out by a whole step.
    assert used["difference"].abs().max() < 0.05
    steps = {
        (row["run"], int(row["step"])) for row in rows if row["of"] == "table" and not row["figure"]
    }
    pairs = set(zip(paired["run"], paired["step"], strict=True))
    assert steps & pairs == set()
    # A last step may be left out figure by figure: its contact withheld, its step time unknown.
    named = {(row["run"], int(row["step"])) for row in rows if row["of"] == "table"}
    tables = pd.read_csv(film.folder / "out" / "steps.csv")
    assert len(named | pairs) == len(tables)


def test_a_folder_that_holds_something_else_is_left_alone(film: Made) -> None:
    study = read_study(film.folder / "study.toml")
    with pytest.raises(SessionError, match="holds results of imuproc process"):
        run_study(study, film.folder / "out")
