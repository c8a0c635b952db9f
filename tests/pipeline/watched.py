"""A recording, and whether a change of settings shows in what the method makes of it.

Functions of the stages whose arguments are those of an earlier run give what they gave then, and a
run ends at the first thing in the results that is another. So a changed setting costs the stage
that it belongs to and little more.
"""

import inspect
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from types import FunctionType
from typing import Any

import numpy as np
import pandas as pd
import pytest
from pydantic import BaseModel

from imuproc.conditioning.clocks import check, tying
from imuproc.core.errors import RunError
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.events import coarse
from imuproc.files.settings_model import Value
from imuproc.motion import body
from imuproc.pipeline import clocks, overview, run, stages, table
from imuproc.pipeline.settings import Settings
from imuproc.pipeline.sources import NotingCuts, RecordingSource

_CALLING = (run, stages, table, clocks, overview, check, tying, coarse, body)
_RESULT = ("steps", "uncertainty", "curves", "flags", "distances")
_NOT_SHOWN = {"recording", "history", "evidence", "gyro_hidden_radps"}
"""What was read, what tells of the settings themselves, and what was only weighed."""
_REL, _ABS = 1e-7, 1e-9
"""Smaller differences are those of rounding."""

Changes = Mapping[str, Value]


class _DiffersError(BaseException):
    """Ends a run at the first difference; no handler of errors may take it for one."""


@dataclass
class Watched:
    """A recording and what the method makes of it.

    Parameters
    ----------
    recording : Recording
    base : mapping from str to number
        Settings by their place that are not as usual here.
    """

    recording: Recording
    base: Changes = field(default_factory=dict)
    _kept: dict[Hashable, tuple[Any, Any]] = field(default_factory=dict)
    _keys: dict[int, tuple[Any, int]] = field(default_factory=dict)
    _tokens: dict[Hashable, int] = field(default_factory=dict)
    _usual_keys: dict[int, tuple[Any, int]] = field(default_factory=dict)
    _usual: list[tuple[str, Any]] = field(default_factory=list)
    _seen: list[tuple[str, Any]] = field(default_factory=list)
    _ends_only: bool = True

    def __post_init__(self) -> None:
        self._run(Settings.model_validate(nest_tables(self.base)))
        self._usual, self._usual_keys = self._seen, self._keys
        names = [name for name, _ in self._usual]
        # What is thrown away, as where a sensor slipped and the run is begun anew, does not count.
        self._ends_only = names.count("signals") != names.count("result")

    def find_difference(self, changes: Changes) -> str:
        """What is another with these settings, or in which order; empty where nothing is.

        Raises
        ------
        ValueError
            If the settings contradict each other.
        """
        settings = Settings.model_validate(nest_tables({**self.base, **changes}))
        ends_only = self._ends_only
        try:
            self._run(settings)
        except _DiffersError as difference:
            return str(difference)
        finally:
            self._ends_only = ends_only
        return (
            ""
            if len(_select_ends(self._seen)) == len(_select_ends(self._usual))
            else "number of runs"
        )

    def _run(self, settings: Settings) -> None:
        self._seen, self._keys = [], dict(self._usual_keys)
        with pytest.MonkeyPatch.context() as patch:
            for module in _CALLING:
                for name, function in list(vars(module).items()):
                    if _is_of_a_stage(function) and function.__module__ != module.__name__:
                        patch.setattr(module, name, self._remember(function))
            self._watch(patch)
            source = RecordingSource(self.recording, settings.long.piece_samples)
            try:
                for found in run.process_each(source, settings):
                    if isinstance(found, Result):
                        self._look("result", [getattr(found, name) for name in _RESULT])
                    else:
                        self._look("refusal", str(found))
            except RunError as error:
                self._look("refusal", str(error))

    def _watch(self, patch: pytest.MonkeyPatch) -> None:
        """Look at what goes into results as soon as it is there."""
        condition_run, solve, tie = run.condition_run, run.solve, clocks.tie_clocks

        def condition_and_look(*args: Any) -> Any:
            ready = condition_run(*args)
            self._look("signals", ready.conditioned)
            return ready

        def solve_and_look(ready: Any, contacts: Any, *args: Any) -> Any:
            self._look("events", contacts)
            motion = solve(ready, contacts, *args)
            self._look("motion", motion)
            return motion

        def tie_and_look(*args: Any) -> Any:
            ties = tie(*args)
            self._look("clocks", ties.clocks)
            return ties

        patch.setattr(run, "condition_run", condition_and_look)
        patch.setattr(run, "solve", solve_and_look)
        patch.setattr(clocks, "tie_clocks", tie_and_look)

    def _look(self, name: str, shown: Any) -> None:
        usual = self._usual
        self._seen.append((name, shown))
        if not usual:
            return
        if not self._ends_only:
            place = len(self._seen) - 1
            if place < len(usual) and usual[place][0] == name:
                if not _is_same(usual[place][1], shown):
                    raise _DiffersError(name)
                return
            self._ends_only = True  # other ways through the stages: the ends will tell
        if name in ("result", "refusal"):
            place = len(_select_ends(self._seen)) - 1
            if place >= len(_select_ends(usual)) or not _is_same(
                _select_ends(usual)[place], (name, shown)
            ):
                raise _DiffersError(name)

    def _remember(self, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function, or what it gave with the usual settings, whose arguments are kept."""

        def call(*args: Any, **more: Any) -> Any:
            args = tuple(tuple(one) if isinstance(one, Iterator) else one for one in args)
            key = (function, self._key(args), self._key(more))
            if key in self._kept:
                outcome = self._kept[key][1]
                if isinstance(outcome, RunError):
                    raise outcome
                return outcome.copy() if isinstance(outcome, list) else outcome
            try:
                outcome = function(*args, **more)
            except RunError as error:
                outcome = error
                raise
            finally:
                if not self._usual:
                    self._kept[key] = (args, more), outcome
            return outcome.copy() if isinstance(outcome, list) else outcome

        return call

    def _key(self, value: Any) -> Hashable:
        """What decides an outcome: numbers and words as they are, arrays by where they lie."""
        if value is None or isinstance(value, str | int | float):
            return value
        if isinstance(value, tuple | list | set | frozenset):
            return tuple(map(self._key, value))
        if id(value) not in self._keys:
            # Kept with the object: its address is that of another one when it is gone.
            self._keys[id(value)] = (
                value,
                self._tokens.setdefault(self._make_parts(value), len(self._tokens)),
            )
        return self._keys[id(value)][1]

    def _make_parts(self, value: Any) -> Hashable:
        if isinstance(value, np.ndarray):
            place = value.__array_interface__["data"][0]
            return (place, value.shape, value.strides, value.dtype.str)
        if isinstance(value, Mapping):
            return tuple((name, self._key(inner)) for name, inner in value.items())
        if is_dataclass(value):
            return (type(value), *(self._key(getattr(value, one.name)) for one in fields(value)))
        if isinstance(value, BaseModel | NotingCuts):
            return (type(value), self._make_parts(vars(value)))
        return id(value)


def nest_tables(changes: Changes) -> dict[str, Any]:
    """Settings by their place as the tables that a TOML file would have."""
    tables: dict[str, Any] = {}
    for place, value in changes.items():
        *names, last = place.split(".")
        own = tables
        for name in names:
            own = own.setdefault(name, {})
        own[last] = value
    return tables


def _select_ends(seen: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    return [one for one in seen if one[0] in ("result", "refusal")]


def _is_of_a_stage(function: object) -> bool:
    """Whether it is a function of the rooms that the pipeline puts in order, or reads a log."""
    if not isinstance(function, FunctionType) or inspect.isgeneratorfunction(function):
        return False
    room = function.__module__.split(".")
    return room[0] == "imuproc" and (
        room[1] in ("conditioning", "events", "motion", "estimators")
        or function.__name__ == "read_short"
    )


def _is_same(one: Any, other: Any) -> bool:
    """Whether a user would find no difference."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray) and one.dtype != object:
        if one.shape != other.shape or one.dtype != other.dtype:
            return False
        if one.dtype.kind != "f":
            return np.array_equal(one, other)
        return one.tobytes() == other.tobytes() or np.allclose(
            other, one, _REL, _ABS, equal_nan=True
        )
    if isinstance(one, float):
        return bool(np.isclose(other, one, _REL, _ABS, equal_nan=True))
    if isinstance(one, pd.DataFrame):
        columns = [*one] == [*other] and zip(one.items(), other.items(), strict=True)
        return one.equals(other) or (
            columns
            and all(
                _is_same(values.to_numpy(), own.to_numpy()) for (_, values), (_, own) in columns
            )
        )
    if isinstance(one, Mapping):
        return [*one] == [*other] and all(_is_same(one[name], other[name]) for name in one)
    if isinstance(one, tuple | list | np.ndarray):
        return len(one) == len(other) and all(map(_is_same, one, other))
    if is_dataclass(one):
        names = [f.name for f in fields(one) if f.name not in _NOT_SHOWN]
        return all(_is_same(getattr(one, name), getattr(other, name)) for name in names)
    return bool(one == other)
