"""A whole session from Python: tables back, files written, nothing printed."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import imuproc
from imuproc.batch.folder import hold_output_folder
from imuproc.batch.outcome import Outcome
from imuproc.batch.process import SessionInterrupted
from imuproc.core.columns import step_table_columns
from imuproc.core.errors import RunError, SessionError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.pipeline.settings import Settings
from tests.batch.jobs import Watched, by_recording, contents, usual
from tests.cli.command import called_once
from tests.report.fake_result import fake_result
from tests.session_folder import write_small_session

ALONE = imuproc.SessionOptions(jobs=1, report=False)


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A session file; the method is a stand-in that gives fixed steps."""
    monkeypatch.setattr("imuproc.pipeline.run.process_each", usual)
    return write_small_session(tmp_path / "session")


def method_that(monkeypatch: pytest.MonkeyPatch, run: str, error: BaseException) -> None:
    """The stand-in that gives an error in place of one run."""

    def method(recording: Recording, _settings: Settings) -> Result:
        if recording.run.id == run:
            raise error
        return fake_result(recording)

    monkeypatch.setattr("imuproc.pipeline.run.process_each", by_recording(method))


def test_the_tables_come_back_as_they_are_written_and_nothing_is_printed(
    session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    done = imuproc.process_session(session, out, ALONE)
    assert done.session == "harbour-2031-04-12"
    assert done.folder == out.resolve()
    assert list(done.steps) == step_table_columns()
    assert done.runs["run"].tolist() == ["R07-01", "R07-02", "R07-03"]
    assert done.phases["phase"].tolist() == ["drive", "transition"] * 3
    assert (done.failed, done.complaints, done.interrupted) == ({}, (), False)
    assert {outcome.state for outcome in done.outcomes.values()} == {"done"}
    for name, table in (("steps", done.steps), ("phases", done.phases)):
        pd.testing.assert_frame_equal(pd.read_parquet(out / f"{name}.parquet"), table)
    for name, table in (("runs", done.runs), ("phases", done.phases)):
        written = pd.read_csv(out / f"{name}.csv")
        assert list(written) == list(table)
        for column in ("mean_contact_time_s", "mean_contact_time_s_u"):
            np.testing.assert_allclose(written[column], table[column], atol=1e-6)
    assert all(Path(path).is_file() for path in done.files.values())
    assert "".join(capsys.readouterr()) == ""


def test_it_writes_what_the_command_writes(session: Path, tmp_path: Path) -> None:
    imuproc.process_session(str(session), str(tmp_path / "a"), imuproc.SessionOptions(jobs=1))
    assert called_once("process", session, "-o", tmp_path / "b", "--jobs", "1").code == 0
    assert contents(tmp_path / "a") == contents(tmp_path / "b")
    assert "report/index.html" in contents(tmp_path / "a")


def test_a_run_that_fails_is_told_with_its_reason_and_raises_nothing(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    method_that(monkeypatch, "R07-02", RunError("no steps were found"))
    done = imuproc.process_session(session, tmp_path / "out", ALONE)
    assert done.failed == {"R07-02": "no steps were found"}
    assert done.runs["status"].tolist() == ["done", "failed", "done"]
    assert set(done.steps["run"]) == set(done.phases["run"]) == {"R07-01", "R07-03"}


def test_only_the_runs_asked_for_come_back_and_the_folder_keeps_the_others(
    session: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    imuproc.process_session(session, out, ALONE)
    options = imuproc.SessionOptions(runs=["R07-03"], jobs=1, report=False)
    done = imuproc.process_session(session, out, options)
    assert done.runs["run"].tolist() == ["R07-03"]
    assert done.outcomes["R07-03"].state == "reused"
    assert pd.read_csv(out / "runs.csv")["run"].tolist() == ["R07-01", "R07-02", "R07-03"]


def test_a_serious_flag_fails_a_run_when_asked_to_and_leaves_it_in_no_table(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flags = [RaisedFlag("mounting_sign_unsure", site="left_shank")]
    method = by_recording(lambda r, _: fake_result(r, flags=flags if r.run.id == "R07-01" else []))
    monkeypatch.setattr("imuproc.pipeline.run.process_each", method)
    options = imuproc.SessionOptions(jobs=1, report=False, strict=True)
    done = imuproc.process_session(session, tmp_path / "out", options)
    assert list(done.failed) == ["R07-01"]
    assert "R07-01" not in {*done.steps["run"], *done.phases["run"]}
    assert "R07-01" not in set(pd.read_csv(tmp_path / "out" / "phases.csv")["run"])


def test_settings_go_in_as_they_are_or_as_a_file(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []

    def method(recording: Recording, settings: Settings) -> Result:
        seen.append(settings.runs.fewest_swings)
        return fake_result(recording)

    monkeypatch.setattr("imuproc.pipeline.run.process_each", by_recording(method))
    file = tmp_path / "settings.toml"
    file.write_text("[runs]\nfewest_swings = 3\n", encoding="utf-8")
    for given in (file, str(file), imuproc.Settings(), None):
        options = imuproc.SessionOptions(given, runs=["R07-01"], jobs=1, report=False)
        imuproc.process_session(session, tmp_path / "out", options)
    assert seen == [3, imuproc.Settings().runs.fewest_swings]  # the others found it there


def test_who_watches_is_told(session: Path, tmp_path: Path) -> None:
    watched = Watched()
    imuproc.process_session(session, tmp_path / "out", ALONE, watched)
    assert watched.counts == (0, 3)
    assert [type(outcome) for outcome in watched.outcomes] == [Outcome] * 3


def test_an_interruption_is_one_and_carries_what_is_finished(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    method_that(monkeypatch, "R07-02", KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt) as stopped:
        imuproc.process_session(session, tmp_path / "out", ALONE)
    assert isinstance(stopped.value, SessionInterrupted)
    assert stopped.value.processed.runs["run"].tolist() == ["R07-01"]
    assert pd.read_csv(tmp_path / "out" / "phases.csv")["run"].tolist() == ["R07-01"] * 2


# --- Requests that are wrong in themselves --------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"runs": ["R07-09"]}, "found no run R07-09; allowed: R07-01, R07-02, R07-03"),
        ({"runs": "R07-01"}, "runs: found 'R07-01'; allowed: a list of ids"),
        ({"jobs": 0}, "jobs: found 0; allowed: 1 or more"),
        ({"settings": "none.toml"}, r"none\.toml"),
    ],
)
def test_options_that_are_wrong(
    session: Path, tmp_path: Path, changes: dict[str, object], told: str
) -> None:
    with pytest.raises(SessionError, match=told):
        imuproc.process_session(
            session, tmp_path / "out", imuproc.SessionOptions(**{"jobs": 1, **changes})
        )
    assert not (tmp_path / "out").exists()


def test_no_such_session_and_a_folder_in_use(session: Path, tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"none\.toml"):
        imuproc.process_session(tmp_path / "none.toml", tmp_path / "out")
    with (
        hold_output_folder(tmp_path / "out", []),
        pytest.raises(SessionError, match="another imuproc process is writing there"),
    ):
        imuproc.process_session(session, tmp_path / "out", ALONE)
