import json
import shutil
from pathlib import Path

import pytest

from tests.cli.command import Command
from tests.report.fake_squad import REASON, write_squad
from tests.session_folder import write_small_session

KEPT = Path(__file__).resolve().parents[1] / "archive" / "kept" / "schema-1.h5"


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return write_squad(tmp_path / "out")


def runs_of(text: str) -> list[str]:
    return [word for line in text.splitlines() for word in line.split()[:2] if "-0" in word]


def test_the_squad_on_stdout(imuproc: Command, out: Path) -> None:
    seen = imuproc("squad", out)
    assert (seen.code, seen.err) == (0, "")
    assert runs_of(seen.out) == ["R07-01", "R07-02", "R07-03", "R08-01", "R08-02", "R09-01"]
    assert REASON.split(";")[0] in " ".join(seen.out.split())
    assert seen.out.splitlines()[-1] == "6 runs of 3 athletes: 5 done, 1 failed."
    assert "\x1b" not in seen.out
    assert max(map(len, seen.out.splitlines())) <= 80


def test_some_athletes_a_group_a_phase(imuproc: Command, out: Path) -> None:
    seen = imuproc("squad", out, "--athlete", "R08", "--athlete", "R09")
    assert runs_of(seen.out) == ["R08-01", "R08-02", "R09-01"]
    assert runs_of(imuproc("squad", out, "--group", "jumps").out) == ["R09-01"]
    phase = imuproc("squad", out, "--phase", "drive", "--athlete", "R07").out
    assert "Steps of the phase drive alone" in phase
    row = next(line for line in phase.splitlines() if line.startswith("R07-02"))
    assert row.split()[:4] == ["R07-02", "best", "30", "6"]


@pytest.mark.parametrize("order", [["--sort", "-speed"], ["--sort", "speed", "--descending"]])
def test_from_the_fastest_on(imuproc: Command, out: Path, order: list[str]) -> None:
    seen = imuproc("squad", out, *order)
    assert runs_of(seen.out) == ["R07-02", "R07-03", "R07-01", "R09-01", "R08-01", "R08-02"]


def test_json_alone_on_stdout(imuproc: Command, out: Path) -> None:
    seen = imuproc("squad", out, "--json", "--group", "sprint", "--sort", "speed")
    content = json.loads(seen.out)
    assert [run["run"] for run in content["runs"]] == ["R07-01", "R07-03", "R07-02"]
    second = content["runs"][-1]
    assert second["best"] is True
    assert "contact_time_s" in second["surely_differ"]
    assert second["symmetry_contact_time_pct"] > 0 > second["symmetry_angle_contact_time_pct"]


def test_an_archive_instead_of_a_folder(imuproc: Command) -> None:
    seen = imuproc("squad", KEPT)
    assert seen.code == 0
    assert "2 runs of 1 athlete: 1 done, 1 failed." in seen.out


def test_where_the_tables_are_not_whole_that_is_told_on_stderr(imuproc: Command, out: Path) -> None:
    shutil.copy(KEPT, out / "session.h5")
    (out / "runs.csv").write_bytes((out / "runs.csv").read_bytes()[:3000])
    seen = imuproc("squad", out, "--json")
    assert seen.code == 0
    assert seen.err.startswith("imuproc: ")
    assert "it is not whole; shown is what session.h5 holds" in seen.err
    assert "session.h5" in json.loads(seen.out)["notes"][0]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--athlete", "R70"], "found no athlete R70; allowed: R07, R08, R09"),
        (["--group", "hurdles"], "found no group hurdles; allowed: sprint, jumps"),
        (["--phase", "flying"], "flying"),
        (["--sort", "pace"], "found no column 'pace' to sort by"),
        (["--descending"], "--descending needs --sort COLUMN"),
    ],
)
def test_a_wrong_request_says_what_is_allowed(
    imuproc: Command, out: Path, arguments: list[str], told: str
) -> None:
    seen = imuproc("squad", out, *arguments)
    assert (seen.code, seen.out) == (2, "")
    assert told in seen.err


def test_no_folder_another_folder_and_half_a_table(imuproc: Command, out: Path) -> None:
    seen = imuproc("squad", out / "none")
    assert (seen.code, seen.out) == (2, "")
    assert "none: found nothing there; allowed: the output folder of `imuproc process`" in seen.err
    seen = imuproc("squad", write_small_session(out.parent / "session").parent)
    assert seen.code == 2
    assert "is no output folder of `imuproc process`" in seen.err
    (out / "steps.parquet").write_bytes((out / "steps.parquet").read_bytes()[:-50])
    seen = imuproc("squad", out)
    assert (seen.code, seen.out) == (2, "")
    assert "steps.parquet: cannot be read or is not whole" in seen.err
    assert "Traceback" not in seen.err
