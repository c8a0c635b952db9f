"""Call the command line in this process and see what a user would."""

import io
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass

import pytest

from imuproc.cli.main import main


@dataclass(frozen=True)
class Seen:
    """Exit code and the two streams."""

    code: int
    out: str
    err: str


class Command:
    """``imuproc`` as a function."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch, self._capsys = monkeypatch, capsys

    def __call__(self, *arguments: object) -> Seen:
        self._monkeypatch.setattr("sys.argv", ["imuproc", *map(str, arguments)])
        code = _exit_code()
        seen = self._capsys.readouterr()
        return Seen(code, seen.out, seen.err)


def called_once(*arguments: object) -> Seen:
    """The same for what several tests look at: needs no fixtures of a single test."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setenv("COLUMNS", "80")
        patch.setattr("sys.argv", ["imuproc", *map(str, arguments)])
        code = _exit_code()
    return Seen(code, out.getvalue(), err.getvalue())


def _exit_code() -> int:
    try:
        main()
    except SystemExit as stop:
        return int(str(stop.code or 0))
    return 0
