"""``imuproc check`` as a user meets it: tables, JSON, exit codes, logs that cannot be read."""

import json
from pathlib import Path

import pytest

from imuproc.core.recording import Recording
from tests.checks.made import lying, running
from tests.cli.command import Command
from tests.session_folder import LAYOUT, SESSION_HEAD, format_run_entry, write_logs


def session_text(folder: Path, recordings: dict[str, Recording]) -> str:
    """A session file of recordings, by run; their logs are written beside it."""
    entries = [
        format_run_entry(run, write_logs(folder, run, one)) for run, one in recordings.items()
    ]
    return "".join([SESSION_HEAD, *entries])


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of sensors that lie, and of a run."""
    folder = tmp_path_factory.mktemp("good")
    text = session_text(folder, {"table": lying(), "R07-01": running()})
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def bad(tmp_path: Path) -> Path:
    """One log is not there, one is no log, two are in order."""
    text = session_text(tmp_path, {"table": lying()})
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    (tmp_path / "logs" / "table_left_foot.csv").unlink()
    (tmp_path / "logs" / "table_right_foot.csv").write_text("time_s,ax\n1,oops\n")
    return tmp_path


def test_a_coach_sees_verdict_figures_and_reasons(imuproc: Command, good: Path) -> None:
    seen = imuproc("check", good / "session.toml")
    assert seen.code == 0
    assert "table (R07), nobody runs in it: fit" in seen.out
    assert "R07-01 (R07), 1 run seen" in seen.out
    assert "left shank" in seen.out
    assert "8 logs:" in seen.out
    assert max(map(len, seen.out.splitlines())) <= 80
    assert seen.err == ""


def test_a_wide_terminal_shows_more(
    imuproc: Command, good: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    narrow = imuproc("check", good / "session.toml", "--run", "table").out
    monkeypatch.setenv("COLUMNS", "130")
    wide = imuproc("check", good / "session.toml", "--run", "table").out
    assert "too narrow" in narrow
    assert "too narrow" not in wide
    assert "µg/√Hz" in wide


def test_json_has_units_in_its_keys_and_null_for_what_is_not_known(
    imuproc: Command, good: Path
) -> None:
    seen = imuproc("check", good / "session.toml", "--run", "table", "--json")
    content = json.loads(seen.out)
    assert (content["schema"], content["session"], content["verdict"]) == (
        1,
        "harbour-2031-04-12",
        "fit",
    )
    (run,) = content["runs"]
    assert [one["site"] for one in run["sensors"]] == list(lying().logs)
    one = run["sensors"][0]
    assert one["rate_hz"] == pytest.approx(400.0, rel=1e-4)
    assert one["gyro_noise_degps_rthz"] == pytest.approx(0.01, rel=0.1)
    assert one["accel_noise_ug_rthz"] == pytest.approx(150.0, rel=0.1)
    assert one["accel_range_g"] == pytest.approx(32.0)
    assert one["gyro_range_degps"] == pytest.approx(2000.0)
    assert one["gyro_allan"]["bias_instability_degph"] is None
    assert one["gyro_allan"]["bias_instability_at_most_degph"] > 0.0
    assert one["stated_rate_hz"] is None
    assert one["standing_differs_deg"] is None
    assert "NaN" not in seen.out


def test_a_log_that_cannot_be_read_has_its_row_and_the_others_go_on(
    imuproc: Command, bad: Path
) -> None:
    seen = imuproc("check", bad / "session.toml")
    assert seen.code == 1
    assert "Traceback" not in seen.out + seen.err
    text = " ".join(seen.out.split())
    assert "NOT FIT left foot: There is no such file." in text
    assert "NOT FIT right foot:" in text
    row = next(line.split() for line in seen.out.splitlines() if line.startswith("left foot"))
    assert set(row[4:]) == {"-"}  # nothing was seen of it, not even that nothing is lost
    assert "4 logs: 2 fit, 2 not fit. Overall: not fit." in text


def test_strict_asks_for_more(imuproc: Command, tmp_path: Path) -> None:
    text = session_text(tmp_path, {"table": lying("low")}).replace("range = 32", "range = 16")
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    seen = imuproc("check", tmp_path / "session.toml")
    assert "fit with limits" in seen.out
    assert seen.code == 0
    assert imuproc("check", tmp_path / "session.toml", "--strict").code == 1


def test_logs_without_a_session_file(imuproc: Command, good: Path) -> None:
    (good / "layout.toml").write_text(LAYOUT, encoding="utf-8")
    logs = sorted((good / "logs").glob("table_*.csv"))
    seen = imuproc("check", *logs, good / "nothing.csv", "--layout", good / "layout.toml")
    text = "".join(seen.out.split())  # long paths are broken
    assert seen.code == 1
    assert "4fit,1notfit" in text
    assert "Thereisnosuchfile" in text
    assert "pelvis" not in seen.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nothing.toml"], "there is no such file"),
        (["a.csv"], "without --layout"),
        (["session.toml", "session.toml"], "found 2 session files; allowed: one session file"),
        (["session.toml", "a.csv"], "a.csv: found a log without --layout"),
        (["a.csv", "session.toml", "--layout", "session.toml"], "found a TOML file with --layout"),
        (["session.toml", "--run", "R07-99"], "found no run 'R07-99'"),
        (["a.csv", "--layout", "nothing.toml"], "there is no such file"),
        (["a.csv", "--layout", "empty.toml"], "layout"),
        (["a.csv", "--layout", "session.toml", "--run", "x"], "found --run with --layout"),
    ],
)
def test_a_wrong_request_is_told_and_costs_code_two(
    imuproc: Command, good: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    monkeypatch.chdir(good)
    Path("empty.toml").write_text("schema = 1\n", encoding="utf-8")
    seen = imuproc("check", *arguments)
    assert seen.code == 2
    assert words in seen.err
    assert seen.out == ""


def test_a_layout_file_with_two_layouts_is_refused(imuproc: Command, good: Path) -> None:
    two = LAYOUT + LAYOUT.replace("layout.field", "layout.other")
    (good / "two.toml").write_text(two, encoding="utf-8")
    seen = imuproc("check", "a.csv", "--layout", good / "two.toml")
    assert (seen.code, "found 2 layouts" in seen.err) == (2, True)


def test_help_says_how_to_check_before_and_after(imuproc: Command) -> None:
    seen = imuproc("check", "--help")
    assert seen.code == 0
    assert "lie still for a minute" in " ".join(seen.out.split())
    assert "Exit code: 0 all fit" in " ".join(seen.out.split())
