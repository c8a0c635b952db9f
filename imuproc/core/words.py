"""Words for people that every layer may need."""

from collections.abc import Sequence


def in_a_row(words: Sequence[str]) -> str:
    """Words as a sentence lists them, as in ``a, b and c``; there is at least one."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def plural(count: int, noun: str) -> str:
    """A count and its noun, as in ``1 run``, ``2 runs`` and ``3 stretches``."""
    ending = "es" if noun.endswith(("ch", "sh", "s", "x")) else "s"
    return f"{count} {noun}" if count == 1 else f"{count} {noun}{ending}"
