"""Settings of a stage as a pydantic model: each number with its unit, meaning, range and basis.

A stage declares its numbers beside the code that uses them::

    class StillnessSettings(StageSettings):
        window_s: float = number(0.4, (0.1, 2.0), "Window of the moving statistics.")
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from pydantic import ConfigDict, Field, model_validator
from pydantic.fields import FieldInfo

from imuproc.files.toml_reading import Table, refuse
from imuproc.files.wording import describe_value

JUDGEMENT: Final = "chosen by judgement, no source"
MEMORY: Final = "from memory, no source"
PRACTICE: Final = "common practice, no source"
FUKUCHI: Final = "11 runners at 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298)"
TRIED: Final = f"chosen on {FUKUCHI} and on simulated sprints"

Value = int | float | tuple[float, ...]

# The end of a name tells the unit; the longest that fits counts.
_UNITS: Final = {
    "_s": "s",
    "_ms": "ms",
    "_hz": "Hz",
    "_deg": "deg",
    "_m": "m",
    "_mps": "m/s",
    "_mps2": "m/s^2",
    "_radps": "rad/s",
    "_degps": "deg/s",
    "_g": "g",
    "_ppm": "ppm",
    "_samples": "samples",
    "_steps": "steps",
    "_share": "",
    "_ratio": "",
}


class StageSettings(Table):
    """Base of the settings of every stage: numbers that are known, in range and do not contradict.

    Wrong values raise ``pydantic.ValidationError``, also where they come from Python.
    """

    # Built when something is to be checked: defaults are not, and most commands change nothing.
    model_config = ConfigDict(allow_inf_nan=False, defer_build=True)

    basis: ClassVar[str] = JUDGEMENT
    """Where numbers come from that do not say so themselves."""
    ordered: ClassVar[tuple[tuple[str, str], ...]] = ()
    """Pairs of numbers of which the first lies below the second, or is equal to it."""

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Say in each field what is allowed, in the words of the errors."""
        for name, field in cls.model_fields.items():
            extra = _get_extra(field)
            if "range" in extra:
                extra["unit"] = extra["unit"] if extra["unit"] is not None else find_unit(name)
                extra["basis"] = extra["basis"] or cls.basis
                extra["allowed"] = _describe_allowed(field.default, extra)

    @model_validator(mode="before")
    @classmethod
    def _convert_rows(cls, given: Any) -> Any:
        """Rows of numbers as tuples, checked; TOML has lists only."""
        if not isinstance(given, dict):
            return given
        rows = {
            name: _check_row(value, name, field)
            for name, value in given.items()
            if (field := cls.model_fields.get(name)) and isinstance(field.default, tuple)
        }
        return {**given, **rows}

    @model_validator(mode="after")
    def _check_order(self) -> "StageSettings":
        for first, second in self.ordered:
            low, high = get_value(self, first), get_value(self, second)
            if low > high:
                unit = find_unit(first)
                raise refuse(
                    f"{first} = {low:g} with {second} = {high:g}",
                    f"{first} at most as large as {second}{unit and f', both in {unit}'}",
                    first,
                )
        return self


def number(
    default: Value,
    allowed: tuple[float, float],
    meaning: str,
    basis: str = "",
    unit: str | None = None,
) -> Any:
    """A number of a stage, or a row of them.

    Parameters
    ----------
    default : int, float or tuple of float
    allowed : tuple of float
        Least and largest value, of each number of a row.
    meaning : str
        What it does, in sentences.
    basis : str
        Where its value comes from; that of the class when left out.
    unit : str, optional
        Where the name does not tell it; empty for a pure number.
    """
    extra: Any = {"range": allowed, "unit": unit, "basis": basis, "ascending": False}
    if isinstance(default, tuple):
        return Field(default, description=meaning, json_schema_extra=extra)
    low, high = allowed
    return Field(default, ge=low, le=high, description=meaning, json_schema_extra=extra)


def span(
    default: tuple[float, float],
    allowed: tuple[float, float],
    meaning: str,
    basis: str = "",
    unit: str | None = None,
) -> Any:
    """From where to where: two numbers, the first below the second; as :func:`number` else."""
    field = number(default, allowed, meaning, basis, unit)
    field.json_schema_extra["ascending"] = True
    return field


def table(stage: type[StageSettings]) -> Any:
    """A table of settings within another one."""
    return Field(default_factory=stage.model_construct, json_schema_extra={"allowed": "a table"})


@dataclass(frozen=True)
class Setting:
    """One number of the method and what is known of it.

    Parameters
    ----------
    key : str
        Its place, as ``motion.slip.asymmetry_deg``.
    value : int, float or tuple of float
    unit, meaning, allowed, basis : str
        For people; ``allowed`` has the range with its unit.
    low, high : float
        Least and largest value.
    """

    key: str
    value: Value
    unit: str
    meaning: str
    allowed: str
    basis: str
    low: float
    high: float


def list_settings(stage: StageSettings) -> Iterator[Setting]:
    """A stage's own numbers; those of the tables in it are in :func:`list_tables`.

    Parameters
    ----------
    stage : StageSettings

    Yields
    ------
    Setting
    """
    for name, field in type(stage).model_fields.items():
        value, extra = getattr(stage, name), _get_extra(field)
        if not isinstance(value, StageSettings):
            texts = (extra["unit"], field.description or "", extra["allowed"], extra["basis"])
            yield Setting(name, value, *texts, *extra["range"])


def list_tables(stage: StageSettings, prefix: str = "") -> dict[str, StageSettings]:
    """Tables within a table by their place (``motion.zones``), each before those in it."""
    found: dict[str, StageSettings] = {}
    for name, value in stage:
        if isinstance(value, StageSettings):
            found[prefix + name] = value
            found |= list_tables(value, f"{prefix}{name}.")
    return found


def get_value(stage: StageSettings, key: str) -> Any:
    """What stands at a place such as ``calibration.standing.search_s``."""
    value: Any = stage
    for name in key.split("."):
        value = getattr(value, name)
    return value


def find_unit(name: str) -> str:
    """Unit that the end of a name tells; empty where it tells none."""
    ends = [end for end in _UNITS if name.endswith(end)]
    return _UNITS[max(ends, key=len)] if ends else ""


def _check_row(value: Any, name: str, field: FieldInfo) -> tuple[float, ...]:
    extra = _get_extra(field)
    low, high = extra["range"]
    row = tuple(value) if isinstance(value, list | tuple) else ()
    known = len(row) == len(field.default) and not any(
        isinstance(one, bool) or not isinstance(one, int | float) for one in row
    )
    if not known:
        raise refuse(describe_value(list(row) if row else value), extra["allowed"], name)
    falls = extra["ascending"] and not row[0] < row[1]
    if falls or not all(low <= one <= high for one in row):
        shown = ", ".join(f"{one:g}" for one in row)
        raise refuse(f"[{shown}]", extra["allowed"], name)
    return tuple(float(one) for one in row)


def _get_extra(field: FieldInfo) -> dict[str, Any]:
    return field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}


def _describe_allowed(default: Value, extra: dict[str, Any]) -> str:
    low, high = extra["range"]
    within = " ".join(f"from {low:.10g} to {high:.10g} {extra['unit']}".split())
    if not isinstance(default, tuple):
        return f"a {'whole ' if isinstance(default, int) else ''}number {within}"
    order = ", the first below the second" if extra["ascending"] else ""
    return f"a list of {len(default)} numbers, each {within}{order}"
