"""``imuproc settings``: a file to start from, and the same results with it."""

import tomllib
from pathlib import Path

import pytest

from imuproc.pipeline.settings import Settings, read_settings
from tests.cli.command import Command
from tests.cli.test_process_whole import with_sprint

TABLES = ("steps.csv", "runs.csv")


def test_what_is_printed_can_be_given_back(imuproc: Command, tmp_path: Path) -> None:
    seen = imuproc("settings")
    assert (seen.code, seen.err) == (0, "")
    (tmp_path / "my.toml").write_text(seen.out, encoding="utf-8")
    assert read_settings(tmp_path / "my.toml") == Settings()


def test_one_stage_alone(imuproc: Command) -> None:
    seen = imuproc("settings", "runs")
    assert seen.code == 0
    assert list(tomllib.loads(seen.out)) == ["runs"]
    assert "# Least peak rate of a running swing.\n# Allowed: a number from 0.5 to 40 rad/s." in (
        seen.out
    )


def test_an_unknown_stage(imuproc: Command) -> None:
    seen = imuproc("settings", "motoin")
    assert (seen.code, seen.out) == (2, "")
    assert "'motoin'" in seen.err
    assert "did you mean 'motion'?" in seen.err


def test_with_the_printed_file_the_results_are_the_same_bytes(
    imuproc: Command, tmp_path: Path
) -> None:
    session, _ = with_sprint(tmp_path / "session", "R07-02")
    (tmp_path / "my.toml").write_text(imuproc("settings").out, encoding="utf-8")
    asked = ["--run", "R07-02", "--no-report", "--jobs", "1", "--quiet"]
    for out, more in (("plain", []), ("given", ["--settings", tmp_path / "my.toml"])):
        seen = imuproc("process", session, "-o", tmp_path / out, *asked, *more)
        assert seen.code == 0, seen.err
    for name in (*TABLES, "session.h5"):
        plain, given = ((tmp_path / out / name).read_bytes() for out in ("plain", "given"))
        assert given == plain, name


@pytest.mark.parametrize("command", ["process", "check"])
def test_a_wrong_number_ends_the_command(imuproc: Command, tmp_path: Path, command: str) -> None:
    session, _ = with_sprint(tmp_path / "session", "R07-02")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("[runs]\nleast_swing_radps = -5\n", encoding="utf-8")
    seen = imuproc(command, session, "--settings", wrong)
    assert seen.code == 2
    assert f"{wrong}: runs.least_swing_radps: found the number -5; allowed: a number" in seen.err


def test_check_looks_with_the_settings_that_processing_will_have(
    imuproc: Command, tmp_path: Path
) -> None:
    session, _ = with_sprint(tmp_path / "session", "R07-02")
    (tmp_path / "my.toml").write_text("[sanity]\nlow_rate_hz = 900\n", encoding="utf-8")
    plain = imuproc("check", session, "--run", "R07-02").out
    given = imuproc("check", session, "--run", "R07-02", "--settings", tmp_path / "my.toml").out
    assert "Hz" in given
    assert given != plain
