"""Call the command line in this process and see what a user would."""

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
        code: object = 0
        try:
            main()
        except SystemExit as stop:
            code = stop.code or 0
        seen = self._capsys.readouterr()
        return Seen(int(str(code)), seen.out, seen.err)
