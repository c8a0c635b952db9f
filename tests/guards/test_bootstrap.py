"""The environment that the README's commands make for themselves."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.guards.sources import REPO


@pytest.fixture
def bootstrap(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> ModuleType:
    """The module, its environment in a folder of the test's own."""
    spec = importlib.util.spec_from_file_location("bootstrap", REPO / "scripts" / "bootstrap.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setenv("IMUPROC_VENV", str(tmp_path / "env"))
    return module


def pretend_environment(module: ModuleType, extra: str) -> Path:
    """A folder that looks like an environment made for these sources."""
    python: Path = module.find_python(module.find_environment_folder())
    python.parent.mkdir(parents=True)
    python.symlink_to(sys.executable)
    lines = "\n".join(module._list_stamp_lines(extra)) + "\n"
    (module.find_environment_folder() / module.STAMP).write_text(lines, encoding="utf-8")
    return python


def refuse_processes(monkeypatch: pytest.MonkeyPatch, module: ModuleType) -> None:
    def refuse(*_arguments: object) -> None:
        raise AssertionError("an environment that fits was set up again")

    monkeypatch.setattr(module, "_make_environment", refuse)
    monkeypatch.setattr(module, "_install_package", refuse)


def test_the_environment_lies_in_the_repository_unless_named(
    bootstrap: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert bootstrap.find_environment_folder() == tmp_path / "env"
    monkeypatch.delenv("IMUPROC_VENV")
    assert bootstrap.find_environment_folder() == REPO / ".venv"


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize(("made_for", "asked_for"), [("", ""), ("test", "test"), ("test", "")])
def test_an_environment_that_fits_is_used_again(
    bootstrap: ModuleType, monkeypatch: pytest.MonkeyPatch, made_for: str, asked_for: str
) -> None:
    python = pretend_environment(bootstrap, made_for)
    refuse_processes(monkeypatch, bootstrap)
    assert bootstrap.prepare_environment(asked_for) == python


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("change", ["extra", "pyproject"])
def test_an_environment_that_no_longer_fits_is_brought_up_to_date(
    bootstrap: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, change: str
) -> None:
    pretend_environment(bootstrap, "")
    installed: list[str] = []
    monkeypatch.setattr(
        bootstrap, "_install_package", lambda _python, extra: installed.append(extra)
    )
    if change == "pyproject":
        (tmp_path / "pyproject.toml").write_text("changed", encoding="utf-8")
        monkeypatch.setattr(bootstrap, "REPO", tmp_path)
    asked = "test" if change == "extra" else ""
    bootstrap.prepare_environment(asked)
    assert installed == [asked]
    bootstrap.prepare_environment(asked)
    assert installed == [asked]


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_a_set_up_that_fails_is_not_taken_for_done(
    bootstrap: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend_environment(bootstrap, "")

    def fail(_python: Path, _extra: str) -> None:
        raise SystemExit("no internet")

    monkeypatch.setattr(bootstrap, "_install_package", fail)
    with pytest.raises(SystemExit, match="no internet"):
        bootstrap.prepare_environment("test")
    assert not (bootstrap.find_environment_folder() / bootstrap.STAMP).exists()


def test_a_folder_that_is_something_else_is_left_alone(
    bootstrap: ModuleType, tmp_path: Path
) -> None:
    (tmp_path / "env").mkdir()
    (tmp_path / "env" / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(SystemExit, match="is no Python environment; move it away"):
        bootstrap.prepare_environment()
    assert (tmp_path / "env" / "thesis.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("script", ["quickstart.py", "run_tests.py"])
def test_an_old_python_is_told_so(script: str) -> None:
    pretend = (
        "import sys, runpy\n"
        "sys.version_info, sys.version = (3, 9, 1), '3.9.1 (main)'\n"
        f"runpy.run_path({str(REPO / 'scripts' / script)!r}, run_name='__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-c", pretend], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr.startswith("imuproc needs Python 3.11 or newer, and this is Python 3.9.1.")
