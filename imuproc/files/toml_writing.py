"""What a TOML file holds, as text again: the standard library only reads TOML."""

import datetime
import json
import re
from collections.abc import Mapping
from typing import Any

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(content: Mapping[str, Any]) -> str:
    """A TOML document.

    Parameters
    ----------
    content : mapping
        As ``tomllib`` gives it: texts, numbers, dates, lists and mappings.

    Returns
    -------
    str
        Mappings at the top are tables (tables of tables where they hold nothing else), lists of
        mappings arrays of tables; deeper ones stand within a line. Read again it gives the same
        content.

    Raises
    ------
    TypeError
        A value is of a kind that TOML has not.
    """
    lines: list[str] = []
    tables: list[tuple[str, Mapping[str, Any]]] = []
    for key, value in content.items():
        if isinstance(value, Mapping) and value and all(map(_is_table, value.values())):
            tables += [(f"[{_key(key)}.{_key(name)}]", inner) for name, inner in value.items()]
        elif isinstance(value, Mapping):
            tables.append((f"[{_key(key)}]", value))
        elif isinstance(value, list) and value and all(map(_is_table, value)):
            tables += [(f"[[{_key(key)}]]", entry) for entry in value]
        else:
            lines.append(f"{_key(key)} = {_value(value)}")
    for head, table in tables:
        lines += ["", head, *(f"{_key(key)} = {_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping)


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _text(key)


def _text(text: str) -> str:
    # JSON escapes as TOML does, but for the delete character, which TOML wants escaped.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime.date | datetime.time):  # datetime is a date
        return value.isoformat()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    raise TypeError(f"TOML has no {type(value).__name__}")
