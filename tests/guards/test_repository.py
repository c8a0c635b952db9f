"""What lies in the repository, and what must not."""

import re
import tomllib
from pathlib import Path

import pytest

from tests.guards.sources import PACKAGE, REPO, list_tracked_files

TOP_LEVEL = {
    "README.md",
    "CHANGELOG.md",
    "CITATION.cff",
    "DEVELOPERS.md",
    "pyproject.toml",
    "imuproc",
    "tests",
    "data_samples",
    "scripts",
}

# Home folders, temporary folders and drives: a path of one machine means nothing on another.
MACHINE_PATHS = re.compile(
    r"(?<![\w.~/])/(?:home|root|work|opt|tmp|Users|mnt|srv|var)/[\w.]|\b[A-Z]:\\\\?Users\b"
)
TEXT = {".py", ".md", ".toml", ".csv", ".txt", ".json", ".cfg", ".yml", ".yaml", "", ".html"}


def list_text_files() -> list[Path]:
    """Tracked files that people read."""
    return [path for path in list_tracked_files() if path.suffix in TEXT]


def test_the_top_level_holds_only_what_is_agreed() -> None:
    names = {path.relative_to(REPO).parts[0] for path in list_tracked_files()}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL


def test_no_paths_of_one_machine() -> None:
    found = [
        f"{path.relative_to(REPO)}: {match.group()}"
        for path in list_text_files()
        if path != Path(__file__).resolve()
        for match in MACHINE_PATHS.finditer(path.read_text(encoding="utf-8", errors="replace"))
    ]
    assert found == []


@pytest.mark.parametrize("text", ["/home/me/x", "see /tmp/a.csv", r"C:\Users\me"])
def test_the_guard_sees_machine_paths(text: str) -> None:
    assert MACHINE_PATHS.search(text)


@pytest.mark.parametrize("text", ["out/report/index.html", "https://a.org/home/x", "a/tmp/b"])
def test_the_guard_lets_other_paths_pass(text: str) -> None:
    assert not MACHINE_PATHS.search(text)


def read_all_told() -> str:
    """Everything that people are told: README, DEVELOPERS, guides."""
    pages = [REPO / "README.md", REPO / "DEVELOPERS.md", *(PACKAGE / "guides").glob("*.md")]
    return "".join(path.read_text(encoding="utf-8") for path in pages)


def test_the_commands_that_people_are_told_exist() -> None:
    scripts = re.findall(r"python (scripts/\w+\.py)", read_all_told())
    assert {"scripts/quickstart.py", "scripts/run_tests.py"} <= set(scripts)
    assert [name for name in scripts if not (REPO / name).is_file()] == []


def test_the_files_that_people_are_told_exist() -> None:
    """Those of the package may be named from its own folder on."""
    named = set(re.findall(r"`([a-z]+/[\w/]+\.(?:py|toml|md))`", read_all_told()))
    assert len(named) > 30
    places = (REPO, PACKAGE)
    assert [n for n in named if not any((place / n).is_file() for place in places)] == []


def test_the_citation_has_what_its_format_asks_for() -> None:
    """Required keys of the Citation File Format 1.2.0; the version is the package's."""
    citation = (REPO / "CITATION.cff").read_text(encoding="utf-8")
    keys = dict(re.findall(r"^([\w-]+):(?: (.+))?$", citation, flags=re.MULTILINE))
    assert {"cff-version", "message", "title", "authors"} <= set(keys)
    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert (keys["cff-version"], keys["version"]) == ("1.2.0", project["version"])
    changes = (REPO / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.search(rf"^## {re.escape(project['version'])}\b", changes, flags=re.MULTILINE)


def test_the_developers_page_names_every_layer_in_order() -> None:
    from tests.guards.test_layers import LAYERS

    page = (REPO / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| (.+?) \|", page, flags=re.MULTILINE)
    named = {folder: int(layer) for layer, cell in rows for folder in re.findall(r"`(\w+)/`", cell)}
    assert named == LAYERS


def test_the_check_command_may_be_run() -> None:
    command = REPO / ".ci" / "run"
    assert command.read_text(encoding="utf-8").startswith("#!/usr/bin/env bash")
    assert "scripts/run_tests.py" in command.read_text(encoding="utf-8")


def test_scripts_that_people_are_told_find_each_other_from_any_folder() -> None:
    """Named by its path a script finds its own folder only, not the repository's."""
    named = set(re.findall(r"python (scripts/\w+\.py)", read_all_told()))
    assert len(named) > 5
    assert not re.search(r"python -m scripts", read_all_told())
    for name in sorted(named):
        source = (REPO / name).read_text("utf-8")
        imported = source.find("\nfrom scripts.")
        assert imported < 0 or 0 < source.find("sys.path.") < imported, name
