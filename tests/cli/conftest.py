import pytest

from tests.cli.command import Command


@pytest.fixture
def imuproc(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """The command line."""
    monkeypatch.setenv("COLUMNS", "80")
    return Command(monkeypatch, capsys)
