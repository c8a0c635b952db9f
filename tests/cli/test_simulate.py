"""``imuproc simulate`` as a user meets it."""

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from imuproc.cli.options import make_command
from imuproc.cli.simulate import SimulateOptions, simulate

app = typer.Typer(rich_markup_mode=None)
app.command("simulate")(make_command(simulate, SimulateOptions))
run = CliRunner()


def test_help_names_every_option() -> None:
    shown = run.invoke(app, ["--help"]).output
    for option in ("--athletes", "--runs", "--start", "--distance", "--rate", "--grade", "--fault"):
        assert option in shown
    assert "known truth" in shown


def test_a_session_is_written_and_said_where(tmp_path: Path) -> None:
    out = tmp_path / "made"
    options = ["--athletes", "1", "--runs", "1", "--rate", "100", "--distance", "10"]
    done = run.invoke(app, [str(out), *options, "--start", "standing", "--fault", "toe-drop"])
    assert done.exit_code == 0, done.output
    assert f"Written: {out / 'session.toml'}" in done.output
    text = (out / "session.toml").read_text()
    assert 'start = "standing"' in text
    assert "faults of technique: toe-drop" in text
    assert len(list((out / "logs").iterdir())) == 4


def test_pelvis_and_clocks_are_written_down(tmp_path: Path) -> None:
    out = tmp_path / "made"
    options = ["--athletes", "1", "--runs", "1", "--rate", "100", "--distance", "10"]
    done = run.invoke(app, [str(out), *options, "--sites", "pelvis", "--clock", "separate", "--gz"])
    assert done.exit_code == 0, done.output
    text = (out / "session.toml").read_text()
    assert 'clock = "separate"' in text
    assert "R01-01_pe.csv.gz" in text


def test_a_rate_must_be_given() -> None:
    done = run.invoke(app, ["somewhere"])
    assert done.exit_code == 2
    assert "--rate" in done.output


def test_interrupted_it_says_that_the_folder_is_not_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("imuproc.synth.session._write_run", stop)
    done = run.invoke(app, [str(tmp_path / "made"), "--rate", "100"])
    assert done.exit_code == 130
    assert "made is not whole, remove it" in done.output
