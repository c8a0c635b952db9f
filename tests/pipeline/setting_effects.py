"""Every number of the settings, and the table that says on which scene each of them shows."""

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from imuproc.files.settings_model import Setting, get_value, list_settings, list_tables
from imuproc.pipeline.settings import Settings
from tests.pipeline.watched import Changes

TABLE: Final = Path(__file__).with_name("every_setting.toml")
REASONS: Final = "reasons"
"""Name of the part of the table that says why a setting shows nowhere."""


def list_numbers() -> dict[str, Setting]:
    """Numbers by their place; those of a row end with their place in it, from 0."""
    usual, found = Settings(), {}
    for name, stage in {"": usual, **list_tables(usual)}.items():
        for setting in list_settings(stage):
            place = f"{name}.{setting.key}"
            if isinstance(setting.value, tuple):
                for number, value in enumerate(setting.value):
                    found[f"{place}.{number}"] = replace(setting, value=value)
            else:
                found[place] = setting
    return found


def find_owner(place: str) -> tuple[str, str]:
    """The class that a number is of, and its name there."""
    table, _, name = _split_place(place)[0].rpartition(".")
    return type(get_value(Settings(), table)).__name__, name


def change_number(place: str, value: float) -> Changes:
    """The change of one number, as the settings take it."""
    row, number = _split_place(place)
    if number is None:
        return {place: value}
    usual = get_value(Settings(), row)
    return {row: tuple(value if k == number else one for k, one in enumerate(usual))}


def _split_place(place: str) -> tuple[str, int | None]:
    row, _, number = place.rpartition(".")
    return (row, int(number)) if number.isdigit() else (place, None)


def read_table() -> dict[str, dict[str, Any]]:
    """By scene what each number is set to; under ``reasons`` why some show nowhere."""
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))
