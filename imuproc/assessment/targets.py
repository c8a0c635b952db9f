"""Target sets: the band in which a figure should lie in each phase, and what that rests on.

A set is a TOML file that people write; ``default_targets.toml`` beside this module is the one that
holds where an athlete names none.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
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
    load_toml,
    make_problem,
    make_session_error,
    refuse,
    to_problems,
)
from imuproc.files.wording import describe_value, quote, quote_all, suggest_word
from imuproc.results.columns import KEY_FIGURES

FloatArray = NDArray[np.float64]
Phase = Literal["drive", "transition", "upright"]
PHASES: Final[tuple[Phase, ...]] = get_args(Phase)
DEFAULT: Final = "default"
_DEFAULT_FILE: Final = Path(__file__).with_name("default_targets.toml")
_SCHEMA: Final = 1


def _known_figure(name: str) -> str:
    if name not in FIGURES:
        raise refuse(quote(name), "a figure of the step table" + suggest_word(name, FIGURES))
    return name


def _known_difference(name: str) -> str:
    if name not in KEY_FIGURES:
        allowed = f"one of {quote_all(KEY_FIGURES)}"
        raise refuse(quote(name), allowed + suggest_word(name, KEY_FIGURES))
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
    by_speed: list[Annotated[list[float], Field(min_length=3, max_length=3)]] | None = Field(
        default=None, min_length=1, description="rows [speed in m/s, low, high], speeds rising"
    )
    least_excess: float = Field(
        default=0.0, ge=0.0, allow_inf_nan=False, description="a number, 0 or more"
    )
    basis: str = Field(
        min_length=1, description='a text: a published source or "common practice, no source"'
    )

    @model_validator(mode="after")
    def _one_kind_of_limit(self) -> "BandEntry":
        plain = self.low is not None or self.high is not None
        if plain + (self.steps is not None) + (self.by_speed is not None) != 1:
            raise refuse("several or none of them", "low, high or both; or steps; or by_speed")
        if any(not low < high for low, high in self.get_ends()):
            raise refuse("a low end that is not below the high one", "low below high")
        speeds = [row[0] for row in self.by_speed or ()]
        if not all(a < b for a, b in pairwise(speeds)) or not np.isfinite(speeds).all():
            raise refuse("speeds that do not rise from row to row", "rising speeds", "by_speed")
        return self

    def get_ends(self) -> list[tuple[float, float]]:
        """Low and high end of each row; infinite where there is no limit."""
        if self.by_speed is not None:
            return [(low, high) for _, low, high in self.by_speed]
        if self.steps is not None:
            return [(low, high) for low, high in self.steps]
        low = -np.inf if self.low is None else self.low
        return [(low, np.inf if self.high is None else self.high)]


class DifferenceEntry(Table):
    """One ``[[set.difference]]`` table."""

    figure: Annotated[
        str, AfterValidator(_known_difference), Field(description="a figure with left and right")
    ]
    least: float = Field(gt=0.0, allow_inf_nan=False, description="a number above 0")
    basis: str = Field(
        min_length=1, description='a text: a published source or "common practice, no source"'
    )


class SetEntry(Table):
    """One ``[[set]]`` table."""

    name: str = Field(min_length=1, description="a text")
    band: list[BandEntry] = Field(min_length=1, description="at least one table [[set.band]]")
    difference: list[DifferenceEntry] = Field(default=[], description="tables [[set.difference]]")


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
    speeds_mps : tuple of float
        Where given, the ends are those at these speeds, straight lines between them; the last
        pair holds above. Slower steps, and those without a speed, are not judged.
    least_excess : float
        How far outside is worth a word.
    """

    figure: str
    phase: Phase
    ends: tuple[tuple[float, float], ...]
    basis: str
    speeds_mps: tuple[float, ...] = ()
    least_excess: float = 0.0

    def get_limits(
        self, step: NDArray[np.int64], speed_mps: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Low and high end of steps by number or speed, shape (m,) each; NaN: not judged."""
        ends = np.asarray(self.ends, dtype=np.float64)
        if not self.speeds_mps:
            row = np.clip(step - 1, 0, len(ends) - 1)
            return ends[row, 0], ends[row, 1]
        low, high = (_interpolate_ends(speed_mps, self.speeds_mps, end) for end in ends.T)
        return low, high


def _interpolate_ends(
    speed_mps: FloatArray, known_mps: tuple[float, ...], end: FloatArray
) -> FloatArray:
    """An end of a band at given speeds; infinite where it is at all of them."""
    there = end[0] if np.isinf(end).any() else np.interp(speed_mps, known_mps, end)
    return np.where(speed_mps >= known_mps[0], there, np.nan)


@dataclass(frozen=True)
class LeastDifference:
    """From where on left and right differ by as much as is worth a word, in the figure's unit."""

    figure: str
    least: float
    basis: str


@dataclass(frozen=True)
class TargetSet:
    """All bands of one set, and what differences between left and right are worth a word."""

    name: str
    bands: tuple[Band, ...]
    differences: tuple[LeastDifference, ...] = ()

    def get_band(self, figure: str, phase: str) -> Band | None:
        """The band of a figure in a phase, where there is one."""
        return next((b for b in self.bands if (b.figure, b.phase) == (figure, phase)), None)


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


def choose_set(sets: Mapping[str, TargetSet], name: str | None) -> TargetSet:
    """The set that an athlete names, or the default one.

    Raises
    ------
    SessionError
        There is no set of that name.
    """
    wanted = name or DEFAULT
    if wanted not in sets:
        raise SessionError(
            f"targets: found {quote(wanted)}; allowed: {quote_all(sets)}"
            f"{suggest_word(wanted, sets)}"
        )
    return sets[wanted]


def _sets_of(path: Path) -> dict[str, TargetSet]:
    content = load_toml(path)
    if content.get("schema") != _SCHEMA:
        shown = describe_value(content["schema"]) if "schema" in content else "nothing"
        raise make_session_error(
            path, [make_problem(("schema",), shown, f"the number {_SCHEMA}")], content
        )
    tables: dict[str, Any] = {key: value for key, value in content.items() if key != "schema"}
    try:
        file = TargetsFile.model_validate(tables)
    except ValidationError as error:
        raise make_session_error(path, to_problems(error, TargetsFile), content) from error
    problems = _find_duplicates(file)
    if problems:
        raise make_session_error(path, problems, content)
    return {entry.name: _target_set(entry) for entry in file.set}


def _find_duplicates(file: TargetsFile) -> list[Problem]:
    """Sets of the same name, and bands for the same figure and phase in one set."""
    problems = []
    names = [entry.name for entry in file.set]
    for number, entry in enumerate(file.set):
        if entry.name in names[:number]:
            problems.append(
                make_problem(("set", number, "name"), quote(entry.name), "a name used once")
            )
        keys = [(band.figure, band.phase) for band in entry.band]
        figures = [(difference.figure,) for difference in entry.difference]
        for kind, of_kind in (("band", keys), ("difference", figures)):
            for place, key in enumerate(of_kind):
                if key in of_kind[:place]:
                    loc = ("set", number, kind, place)
                    problems.append(
                        make_problem(loc, f"a second {kind} for {' in '.join(key)}", "one")
                    )
    return problems


def _target_set(entry: SetEntry) -> TargetSet:
    differences = tuple(LeastDifference(d.figure, d.least, d.basis) for d in entry.difference)
    return TargetSet(entry.name, tuple(map(_read_band, entry.band)), differences)


def _read_band(entry: BandEntry) -> Band:
    return Band(
        figure=entry.figure,
        phase=entry.phase,
        ends=tuple(entry.get_ends()),
        basis=entry.basis,
        speeds_mps=tuple(row[0] for row in entry.by_speed or ()),
        least_excess=entry.least_excess,
    )
