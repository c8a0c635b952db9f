"""The examples in the docstrings run as they stand."""

import doctest
from functools import lru_cache
from importlib import import_module
from pathlib import Path

import pytest

import imuproc
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from tests.guards.sources import REPO

ROOMS = sorted(path.stem for path in Path(imuproc.plots.__path__[0]).glob("[a-z]*.py"))
KEPT: dict[str, Result] = {}


@lru_cache(maxsize=1)
def processing() -> object:
    """``imuproc.process``, each run of the samples once."""
    real = imuproc.process

    def kept(recording: Recording) -> Result:
        run = recording.run.id
        KEPT[run] = KEPT.get(run) or real(recording)
        return KEPT[run]

    return kept


@pytest.mark.parametrize("name", ["imuproc.plots", *(f"imuproc.plots.{room}" for room in ROOMS)])
def test_examples_run(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(REPO)
    monkeypatch.setattr(imuproc, "process", processing(), raising=False)
    outcome = doctest.testmod(import_module(name))
    assert outcome.failed == 0


def test_every_plot_has_an_example() -> None:
    for name in imuproc.plots.__all__:
        assert ">>> " in getattr(imuproc.plots, name).__doc__
