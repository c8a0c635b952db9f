"""What the README shows must work as it stands."""

import re
import tomllib
from pathlib import Path

import imuproc
from imuproc.core.columns import COLUMNS

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def block(language: str) -> str:
    """First code block of a language."""
    found = re.search(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)
    return found.group(1) if found else ""


def test_the_session_file_shown_is_accepted(tmp_path: Path) -> None:
    text = block("toml")
    for name in tomllib.loads(text)["run"][0]["logs"].values():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("", encoding="utf-8")
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    session = imuproc.read_session(tmp_path / "session.toml")
    assert [run.id for run in session.runs] == ["R07-01"]


def test_every_column_is_explained() -> None:
    section = README.split("## What comes out")[1].split("\n## ")[0]
    explained = set(re.findall(r"`(\w+)`", section))
    assert {column.name for column in COLUMNS} <= explained


def test_the_job_comes_first() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# imuproc"
    assert "inertial sensors" in paragraph
