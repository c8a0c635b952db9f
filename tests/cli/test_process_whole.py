"""The command with the real method behind it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imuproc.synth.plan import draw_plan
from imuproc.synth.runs import simulate_run
from imuproc.synth.truth import Truth
from tests.cli.command import Command
from tests.session_folder import format_run_entry, write_logs, write_small_session


def with_sprint(folder: Path, run: str) -> tuple[Path, Truth]:
    """The small session, with a simulated sprint in place of the logs of one run."""
    path = write_small_session(folder)
    rng = np.random.default_rng(20310412)
    recording, truth = simulate_run(draw_plan(rng, distance_m=20.0), "mid", 500.0, rng)
    new = format_run_entry(run, write_logs(folder, run, recording), 30)
    text = path.read_text(encoding="utf-8")
    old = format_run_entry(run, {"left_shank": f"logs/{run}_ls.csv"}, 30)
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path, truth


def test_a_sprint_is_done_and_logs_without_running_fail_alone(
    imuproc: Command, tmp_path: Path
) -> None:
    session, truth = with_sprint(tmp_path / "session", "R07-02")
    seen = imuproc("process", session, "-o", tmp_path / "out")
    assert seen.code == 1
    assert "3 runs: 1 done, 2 failed (R07-01, R07-03)." in seen.out
    assert "unexpected" not in seen.err
    runs = pd.read_csv(tmp_path / "out" / "runs.csv")
    assert runs["status"].tolist() == ["failed", "done", "failed"]
    steps = pd.read_csv(tmp_path / "out" / "steps.csv")
    # Every running step, in order, each nearer to its own truth than to the next step's; walking
    # off after the run may be in the table only as slowing. How near is judged elsewhere.
    running = truth.steps[truth.steps["gait"] == "run"]
    found, beyond = steps.iloc[: len(running)], steps.iloc[len(running) :]
    assert found["side"].tolist() == running["side"].tolist()
    apart = found["touchdown_s"].to_numpy() - running["touchdown_s"].to_numpy()
    assert np.abs(apart).max() < 0.1
    assert set(beyond["phase"]) <= {"slowing"}
    assert (steps["touchdown_s_u"] > 0).all()


@pytest.mark.parametrize(
    ("content", "complaint"),
    [("nonsense = 1\n", "nonsense"), ("[runs]\ncutoff_hz = 'high'\n", "cutoff_hz")],
)
def test_settings_that_are_not_allowed(
    imuproc: Command, tmp_path: Path, content: str, complaint: str
) -> None:
    session = write_small_session(tmp_path / "session")
    (tmp_path / "settings.toml").write_text(content, encoding="utf-8")
    arguments = ["-o", tmp_path / "out", "--settings", tmp_path / "settings.toml"]
    seen = imuproc("process", session, *arguments)
    assert seen.code == 2
    assert complaint in seen.err
    assert not (tmp_path / "out").exists()


def test_settings_that_are_not_there(imuproc: Command, tmp_path: Path) -> None:
    session = write_small_session(tmp_path / "session")
    seen = imuproc("process", session, "-o", tmp_path / "out", "--settings", tmp_path / "no.toml")
    assert seen.code == 2
    assert "no.toml" in seen.err
