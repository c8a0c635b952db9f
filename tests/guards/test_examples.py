"""The examples in the docstrings run as they stand."""

import doctest
from functools import lru_cache
from importlib import import_module

import pytest

import imuproc
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from tests.guards.sources import PACKAGE, REPO, list_sources

WITH_EXAMPLES = sorted(source.name for source in list_sources() if ">>> " in source.text)
KEPT: dict[str, Result] = {}


@lru_cache(maxsize=1)
def make_remembering_process() -> object:
    """``imuproc.process``, each run of the samples once."""
    real = imuproc.process

    def kept(recording: Recording) -> Result:
        run = recording.run.id
        KEPT[run] = KEPT.get(run) or real(recording)
        return KEPT[run]

    return kept


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_run(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(REPO)
    monkeypatch.setattr(imuproc, "process", make_remembering_process(), raising=False)
    outcome = doctest.testmod(import_module(name))
    assert outcome.failed == 0


def test_every_public_function_has_an_example() -> None:
    functions = {name: getattr(imuproc, name) for name in imuproc.__all__}
    functions |= {name: getattr(imuproc.plots, name) for name in imuproc.plots.__all__}
    missing = {
        name
        for name, function in functions.items()
        if callable(function) and ">>> " not in (function.__doc__ or "")
    }
    assert missing == set()


def test_every_room_shows_how_it_is_used() -> None:
    rooms = {name.split(".")[1] for name in WITH_EXAMPLES if name.count(".") > 1}
    folders = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert folders - rooms <= {"cli"}  # commands are shown in the guides
