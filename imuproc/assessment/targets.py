"""Target sets: the band in which a figure should lie in each phase, and what that rests on.

A set is a TOML file that people write; ``default_targets.toml`` beside this module is the one that
holds where an athlete names none.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field, ValidationError, model_validator

from imuproc.core.columns import FIGURES
from imuproc.core.errors import SessionError
from imuproc.files.toml_reading import (
    Problem,
    Table,
    complain,
    load_toml,
    problem,
    problems_of,
    refusal,
)
from imuproc.files.wording import did_you_mean, found, listed, quoted

FloatArray = NDArray[np.float64]
Phase = Literal["drive", "transition", "upright"]
PHASES: Final[tuple[Phase, ...]] = get_args(Phase)
DEFAULT: Final = "default"
_DEFAULT_FILE: Final = Path(__file__).with_name("default_targets.toml")
_SCHEMA: Final = 1


def _known_figure(name: str) -> str:
    if name not in FIGURES:
        raise refusal(quoted(name), "a figure of the step table" + did_you_mean(name, FIGURES))
    return name


_Limit = Annotated[
    float | None, Field(default=None, allow_inf_nan=False, description="a number; left out: none")
]


class BandEntry(Table):
    """One ``[[set.band]]`` table."""

    figure: Annotated[
        str, AfterValidator(_known_figure), Field(description="a figure of the step table")
    ]
    phase: Phase
    low: _Limit
    high: _Limit
    steps: list[Annotated[list[float], Field(min_length=2, max_length=2)]] | None = Field(
        default=None, min_length=1, description="pairs [low, high] for step 1, 2, ..."
    )
    basis: str = Field(
        min_length=1, description='a text: a published source or "common practice, no source"'
    )

    @model_validator(mode="after")
    def _one_kind_of_limit(self) -> "BandEntry":
        ends = self.steps or [[_or(self.low, -1), _or(self.high, 1)]]
        if (self.steps is None) == (self.low is None and self.high is None):
            raise refusal("both or none of them", "low, high or both; or steps alone")
        if any(not low < high for low, high in ends):
            raise refusal("a low end that is not below the high one", "low below high")
        return self


def _or(limit: float | None, direction: int) -> float:
    return direction * np.inf if limit is None else limit


class SetEntry(Table):
    """One ``[[set]]`` table."""

    name: str = Field(min_length=1, description="a text")
    band: list[BandEntry] = Field(min_length=1, description="at least one table [[set.band]]")


class TargetsFile(Table):
    """The whole file; its ``schema`` number has been checked and taken away before."""

    set: list[SetEntry] = Field(min_length=1, description="at least one table [[set]]")


@dataclass(frozen=True)
class Band:
    """Where one figure should lie in one phase.

    Parameters
    ----------
    figure : str
        Column of the step table.
    phase : {"drive", "transition", "upright"}
    ends : tuple of (float, float)
        Low and high end for step 1, 2, ...; the last pair holds for all later steps. Infinite
        where there is no limit. Unit of the figure.
    basis : str
        Published source or ``common practice, no source``.
    """

    figure: str
    phase: Phase
    ends: tuple[tuple[float, float], ...]
    basis: str

    def at(self, step: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
        """Low and high end at given step numbers, shape (m,) each."""
        row = np.clip(step - 1, 0, len(self.ends) - 1)
        ends = np.asarray(self.ends, dtype=np.float64)[row]
        return ends[:, 0], ends[:, 1]


@dataclass(frozen=True)
class TargetSet:
    """All bands of one set."""

    name: str
    bands: tuple[Band, ...]


def read_targets(path: Path | None = None) -> dict[str, TargetSet]:
    """Target sets of a file, the default set included.

    Parameters
    ----------
    path : Path, optional
        A TOML file; only the default set when left out. A set named ``default`` in the file takes
        the place of the package's own.

    Returns
    -------
    dict from name to TargetSet

    Raises
    ------
    SessionError
        The file cannot be read or says something that is not allowed; a line for each problem.
    """
    sets = _sets_of(_DEFAULT_FILE)
    return sets if path is None else {**sets, **_sets_of(path)}


def chosen(sets: Mapping[str, TargetSet], name: str | None) -> TargetSet:
    """The set that an athlete names, or the default one.

    Raises
    ------
    SessionError
        There is no set of that name.
    """
    wanted = name or DEFAULT
    if wanted not in sets:
        raise SessionError(
            f"targets: found {quoted(wanted)}; allowed: {listed(sets)}{did_you_mean(wanted, sets)}"
        )
    return sets[wanted]


def _sets_of(path: Path) -> dict[str, TargetSet]:
    content = load_toml(path)
    if content.get("schema") != _SCHEMA:
        shown = found(content["schema"]) if "schema" in content else "nothing"
        raise complain(path, [problem(("schema",), shown, f"the number {_SCHEMA}")], content)
    tables: dict[str, Any] = {key: value for key, value in content.items() if key != "schema"}
    try:
        file = TargetsFile.model_validate(tables)
    except ValidationError as error:
        raise complain(path, problems_of(error, TargetsFile), content) from error
    problems = _twice(file)
    if problems:
        raise complain(path, problems, content)
    return {entry.name: TargetSet(entry.name, tuple(map(_band, entry.band))) for entry in file.set}


def _twice(file: TargetsFile) -> list[Problem]:
    """Sets of the same name, and bands for the same figure and phase in one set."""
    problems = []
    names = [entry.name for entry in file.set]
    for number, entry in enumerate(file.set):
        if entry.name in names[:number]:
            problems.append(
                problem(("set", number, "name"), quoted(entry.name), "a name used once")
            )
        keys = [(band.figure, band.phase) for band in entry.band]
        for place, key in enumerate(keys):
            if key in keys[:place]:
                loc = ("set", number, "band", place)
                problems.append(problem(loc, f"a second band for {' in '.join(key)}", "one"))
    return problems


def _band(entry: BandEntry) -> Band:
    pairs = entry.steps or [[_or(entry.low, -1), _or(entry.high, 1)]]
    ends = tuple((float(low), float(high)) for low, high in pairs)
    return Band(entry.figure, entry.phase, ends, entry.basis)
