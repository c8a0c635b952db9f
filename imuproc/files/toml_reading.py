"""A TOML file that people write, and its check against a pydantic model.

Every error names the file, the key, what was found and what is allowed.
"""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from imuproc.core.errors import SessionError
from imuproc.core.units import find_unit
from imuproc.files.wording import describe_value, find_nearest, quote, quote_all, suggest_word

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_MAX_SHOWN_COUNT = 20
"""Problems that an error lists; chosen: a screen holds them."""


class Table(BaseModel):
    """Base of every table in such a file: known keys only, no conversion between kinds.

    Each field has a ``description`` that says what is allowed, in the words of the error; where it
    says what the value means, ``json_schema_extra`` has an entry ``allowed``.
    """

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


TableT = TypeVar("TableT", bound=Table)


def make_field_above_0(what: str) -> Any:
    """Key that may be left out and else holds a finite number above 0."""
    return Field(default=None, gt=0, allow_inf_nan=False, description=f"{what}, above 0")


def refuse(found_text: str, allowed: str, key: str = "") -> PydanticCustomError:
    """Error for a validator to raise, in our wording; of a table with the key that is meant."""
    # Braces would be taken for places to fill in, so the texts travel in the context.
    context = {"found": found_text, "allowed": allowed, "key": key}
    return PydanticCustomError("refused", "found {found}; allowed: {allowed}", context)


def refuse_missing_key(key: str) -> PydanticCustomError:
    """Error for a validator of a whole table to raise: one of its keys is needed here."""
    return PydanticCustomError("missing_key", "missing_key", {"key": key})


@dataclass(frozen=True)
class Problem:
    """What is wrong at one place of a file.

    Parameters
    ----------
    loc : tuple of str and int
        Keys and list indices (from 0) that lead there.
    text : str
        What was found and what is allowed.
    """

    loc: tuple[str | int, ...]
    text: str


def make_problem(loc: tuple[str | int, ...], found_text: str, allowed: str) -> Problem:
    """A problem in our wording."""
    return Problem(loc, f"found {found_text}; allowed: {allowed}")


def make_session_error(
    path: Path, problems: list[Problem], content: dict[str, Any]
) -> SessionError:
    """Error that lists every problem of a file, one line each, the file's name in each.

    Parameters
    ----------
    path : Path
    problems : list of Problem
    content : dict
        The file as read, for the ids of runs and athletes.
    """
    shown = [
        f"{path}: {format_place(one.loc)}{_describe_owner(one.loc, content)}: {one.text}"
        for one in problems[:_MAX_SHOWN_COUNT]
    ]
    if len(problems) > _MAX_SHOWN_COUNT:
        shown.append(f"{path}: and {len(problems) - _MAX_SHOWN_COUNT} more problems")
    return SessionError("\n".join(shown))


def _describe_owner(loc: tuple[str | int, ...], content: dict[str, Any]) -> str:
    """`` (id 'R07-02')`` for a place inside a list entry with an id: counting is tedious."""
    if len(loc) < 2 or not isinstance(loc[1], int):
        return ""
    entry = content[str(loc[0])][loc[1]]
    name = entry.get("id") if isinstance(entry, dict) else None
    return f" (id {quote(name)})" if isinstance(name, str) else ""


def load_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        UTF-8, with or without byte-order mark.

    Raises
    ------
    SessionError
        The file is missing, not a file, cannot be read, is not UTF-8, or is not TOML.
    """
    try:
        if path.is_dir():
            raise SessionError(f"{path}: found a folder; allowed: a TOML file")
        if path.exists() and not path.is_file():
            raise SessionError(f"{path}: found something that is not a regular file")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise SessionError(f"{path}: there is no such file") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL character in the path
        reason = getattr(error, "strerror", None) or error
        raise SessionError(f"{path}: cannot be read: {reason}") from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise SessionError(
            f"{path}: line {line}: found byte 0x{raw[error.start]:02X}, which is not UTF-8; "
            "allowed: a file saved as UTF-8"
        ) from error
    return _parse_toml(path, text)


def _parse_toml(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, and whole numbers too long to read
        raise SessionError(f"{path}: this is not TOML: {error}") from error
    except RecursionError as error:
        raise SessionError(f"{path}: this is not TOML that we read: nested too deep") from error


def strip_schema(path: Path, content: dict[str, Any], schema: int) -> dict[str, Any]:
    """Tables of a file whose ``schema`` is the one that is read.

    Parameters
    ----------
    path : Path
    content : dict
        The file as read.
    schema : int
        The number that this version reads.

    Raises
    ------
    SessionError
        It has another number or none. Another version's keys would all look unknown, so this
        comes first and alone.
    """
    stated = content.get("schema")
    if type(stated) is not int or stated != schema:
        shown = "nothing" if stated is None else describe_value(stated)
        raise make_session_error(
            path, [make_problem(("schema",), shown, f"the number {schema}")], content
        )
    return {key: value for key, value in content.items() if key != "schema"}


def validate_file(path: Path, content: dict[str, Any], schema: int, model: type[TableT]) -> TableT:
    """A whole file checked against its model.

    Parameters
    ----------
    path : Path
    content : dict
        The file as read, with its ``schema``.
    schema : int
        The number that this version reads.
    model : type
        The model of the whole file.

    Raises
    ------
    SessionError
        A line for each problem: file, key, what was found, what is allowed.
    """
    return validate_tables(path, strip_schema(path, content, schema), model)


def validate_tables(path: Path, content: dict[str, Any], model: type[TableT]) -> TableT:
    """The tables of a file checked against its model.

    Parameters
    ----------
    path : Path
    content : dict
        The file as read, without a ``schema``.
    model : type
        The model of the whole file.

    Raises
    ------
    SessionError
        As :func:`validate_file`.
    """
    try:
        return model.model_validate(content)
    except ValidationError as error:
        raise make_session_error(path, to_problems(error, model), content) from error


def to_problems(error: ValidationError, model: type[Table]) -> list[Problem]:
    """What pydantic found wrong, in our words.

    Parameters
    ----------
    error : ValidationError
    model : type
        The model of the whole file.
    """
    details = error.errors(include_url=False)
    # A misspelt key leaves the right one missing, a wrong item its list too short: say it once.
    explained = {d["loc"][:-1] for d in details if d["loc"] and isinstance(d["loc"][-1], int)}
    for detail in details:
        if detail["type"] == "extra_forbidden":
            table = detail["loc"][:-1]
            owner, _ = _resolve_place(model, table)
            explained.add((*table, find_nearest(str(detail["loc"][-1]), owner.model_fields) or ""))
    consequences = ("missing", "too_short")
    kept = [d for d in details if not (d["type"] in consequences and d["loc"] in explained)]
    return [_to_problem(detail, model) for detail in kept]


def _to_problem(detail: ErrorDetails, model: type[Table]) -> Problem:
    loc, value = detail["loc"], detail["input"]
    context = detail.get("ctx", {})
    if detail["type"] == "missing_key":
        loc = (*loc, context["key"])
    if detail["type"] == "refused":
        inner = filter(None, context["key"].split("."))
        return make_problem((*loc, *inner), context["found"], context["allowed"])
    if detail["type"] == "extra_forbidden":
        owner, _ = _resolve_place(model, loc[:-1])
        return _report_unknown_key(loc, list(owner.model_fields), dict(_list_places(model)))
    _, field = _resolve_place(model, loc)
    if field is None:
        return make_problem(loc, describe_value(value), detail["msg"])
    if loc[-1] == "[key]":  # how pydantic marks a wrong key of a dict
        return _report_unknown_key(loc[:-1], _list_choices(get_args(field.annotation)[0]))
    choices = _list_choices(field.annotation)
    extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    words = extra.get("allowed") or field.description
    allowed = str(words or quote_all(choices) or detail["msg"])
    if detail["type"] in ("missing", "missing_key"):
        return Problem(loc, f"this key is missing; allowed: {allowed}")
    return make_problem(loc, describe_value(value), allowed + _suggest_choice(value, choices))


def _report_unknown_key(
    loc: tuple[str | int, ...], known: list[str], places: dict[str, str] | None = None
) -> Problem:
    """Which keys there are, and the one that was probably meant, here or in another table."""
    name = str(loc[-1])
    hint = suggest_word(name, known)
    elsewhere = None if hint or not places else find_nearest(name, places)
    if places and elsewhere:
        hint = f" - did you mean {quote(places[elsewhere])}?"
    return make_problem(loc, f"unknown key {quote(name)}", quote_all(known) + hint)


def _list_places(model: type[Table], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Keys of the tables in a table that are not of a list, with their places; nearest last."""
    for name, field in model.model_fields.items():
        inner = field.annotation
        if isinstance(inner, type) and issubclass(inner, Table):
            yield from _list_places(inner, f"{prefix}{name}.")
        elif prefix:
            yield name, f"{prefix}{name}"


def _suggest_choice(value: Any, choices: list[str]) -> str:
    if not isinstance(value, str):
        return ""
    unit = find_unit(value)
    return suggest_word(unit if unit in choices else value, choices)


def format_place(loc: tuple[str | int, ...]) -> str:
    """Place in the file as ``run[2].logs.left_foot``; lists count from 1."""
    text = ""
    for part in loc:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            word = part if _BARE_KEY.fullmatch(part) else quote(part)
            text += f".{word}" if text else word
    return text


def _resolve_place(
    model: type[Table], loc: tuple[str | int, ...]
) -> tuple[type[Table], FieldInfo | None]:
    """Innermost table and innermost field that a place lies in."""
    owner: type[Table] = model
    inner: type[Table] | None = model
    field: FieldInfo | None = None
    own_name = False  # the part is a key that the user chose
    for part in loc:
        if own_name or inner is None or part not in inner.model_fields:
            own_name = False
            continue
        owner, field = inner, inner.model_fields[str(part)]
        inner = _find_table(field.annotation)
        own_name = get_origin(field.annotation) is dict
    return (inner or owner), field


def _find_table(annotation: Any) -> type[Table] | None:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((t for t in map(_find_table, get_args(annotation)) if t is not None), None)


def _list_choices(annotation: Any) -> list[str]:
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    if get_origin(annotation) in (Union, UnionType):
        return [word for part in get_args(annotation) for word in _list_choices(part)]
    return []
