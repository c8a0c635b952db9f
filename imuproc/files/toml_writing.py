"""What a TOML file holds, as text again."""

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Item, Table


def format_toml(content: Mapping[str, Any]) -> str:
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
    blocks = {key: _to_block(value) for key, value in content.items()}
    document = tomlkit.document()
    # What stands below a table's head belongs to the table.
    for key in sorted(blocks, key=lambda key: isinstance(blocks[key], Table | AoT)):
        document.add(key, blocks[key])
    return document.as_string()


def _to_block(value: Any) -> Item:
    """A value at the top."""
    if isinstance(value, Mapping):
        if not value or not all(isinstance(inner, Mapping) for inner in value.values()):
            return _to_table(value)
        tables = tomlkit.table(is_super_table=True)
        for key, inner in value.items():
            tables.add(key, _to_table(inner))
        return tables
    if isinstance(value, list) and value and all(isinstance(entry, Mapping) for entry in value):
        array = tomlkit.aot()
        array.extend(map(_to_table, value))
        return array
    return _to_inline(value)


def _to_table(content: Mapping[str, Any]) -> Table:
    table = tomlkit.table()
    for key, value in content.items():
        table.add(key, _to_inline(value))
    return table


def _to_inline(value: Any) -> Item:
    """A value within a line."""
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        for key, inner in value.items():
            table.add(key, _to_inline(inner))
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for inner in value:
            array.append(_to_inline(inner))
        return array
    item: Item = tomlkit.item(value)
    return item
