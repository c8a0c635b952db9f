"""What the README shows must work as it stands."""

import re
import tomllib
from pathlib import Path

import imuproc
from imuproc.core.columns import COLUMNS
from imuproc.readers.plan_file import read_plan

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def block(language: str, holds: str = "") -> str:
    """First code block of a language that holds a text."""
    found = re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)
    return next(text for text in found if holds in text)


def test_the_session_file_shown_is_accepted(tmp_path: Path) -> None:
    text = block("toml")
    for name in tomllib.loads(text)["run"][0]["logs"].values():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("", encoding="utf-8")
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    session = imuproc.read_session(tmp_path / "session.toml")
    assert [run.id for run in session.runs] == ["R07-01"]


def test_the_study_file_shown_is_accepted(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "steps.csv").write_text("run\n", encoding="utf-8")
    (tmp_path / "video").mkdir()
    contacts = "foot,on,off\nleft,10,40\nright,70,99\nleft,130,160\n"
    (tmp_path / "video" / "R07-01.csv").write_text(contacts, encoding="utf-8")
    path = tmp_path / "study.toml"
    path.write_text(block("toml", "[study]"), encoding="utf-8")
    [run] = imuproc.read_study(path).runs
    assert list(run.read_reference().side) == ["left", "right", "left"]


def test_the_plan_shown_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(block("toml", "[[change]]"), encoding="utf-8")
    assert [change.figure for change in read_plan(path).change] == ["contact_time_s"]


def test_every_column_is_explained() -> None:
    section = README.split("## What comes out")[1].split("\n## ")[0]
    explained = set(re.findall(r"`(\w+)`", section))
    assert {column.name for column in COLUMNS} <= explained


def test_the_job_comes_first() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# imuproc"
    assert "inertial sensors" in paragraph
