"""How errors word what was found and what is allowed."""

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

_MAX_SHOWN_CHARACTER_COUNT = 80
"""Characters of a text that an error shows; chosen: one line of a terminal."""


def quote(text: str) -> str:
    """A text in quotes, control characters made visible, cut where it is very long."""
    shown = repr(text)
    return (
        shown
        if len(shown) <= _MAX_SHOWN_CHARACTER_COUNT
        else f"{shown[:_MAX_SHOWN_CHARACTER_COUNT]}..."
    )


def quote_all(words: Iterable[str]) -> str:
    """Words in quotes with commas between."""
    return ", ".join(quote(word) for word in words)


def suggest_word(word: str, allowed: Iterable[str]) -> str:
    """`` - did you mean 'x'?`` where an allowed word is near, else nothing."""
    match = find_nearest(word, allowed)
    return f" - did you mean {quote(match)}?" if match else ""


def find_nearest(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word that is most like this one; None where none is near."""
    by_lower = {candidate.casefold(): candidate for candidate in allowed}
    matches = get_close_matches(
        word.casefold()[:_MAX_SHOWN_CHARACTER_COUNT], list(by_lower), 1, 0.6
    )
    return by_lower[matches[0]] if matches else None


def describe_value(value: Any) -> str:
    """A value out of a TOML file in words: its kind, and itself where it is short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, str):
        return f"the text {quote(value)}"
    if isinstance(value, int | float):
        return f"the number {_format_number(value)}"
    return f"{type(value).__name__} {value}"


def _format_number(value: float) -> str:
    # Python refuses to write out whole numbers of thousands of digits.
    if isinstance(value, int) and abs(value) >= 10**30:
        return "of more than 30 digits"
    return str(value)
