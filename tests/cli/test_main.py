import signal
import subprocess
import sys

import pytest

from imuproc import __version__
from imuproc.cli import main
from tests.cli.command import Command


def test_help_names_the_commands(imuproc: Command) -> None:
    seen = imuproc("--help")
    assert seen.code == 0
    assert "process" in seen.out


def test_version(imuproc: Command) -> None:
    seen = imuproc("--version")
    assert (seen.code, seen.out) == (0, f"imuproc {__version__}\n")


@pytest.mark.parametrize(
    "arguments", [["nonsense"], ["process"], ["process", "a.toml", "--nonsense"]]
)
def test_a_wrong_request_says_what_is_wrong(imuproc: Command, arguments: list[str]) -> None:
    seen = imuproc(*arguments)
    assert seen.code == 2
    assert "Error:" in seen.err
    assert seen.out == ""


def test_the_module_is_the_same_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "imuproc", "--version"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, f"imuproc {__version__}\n")


def test_a_library_stopped_while_it_loads_is_an_interruption(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def loads(**_: object) -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:
            raise AttributeError("half a module") from None

    monkeypatch.setattr(main, "app", loads)
    monkeypatch.setattr(signal, "getsignal", lambda _: signal.default_int_handler)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(SystemExit, match="130"):
            main.main()
    finally:
        signal.signal(signal.SIGINT, before)
    assert capsys.readouterr().err == "imuproc: interrupted\n"
