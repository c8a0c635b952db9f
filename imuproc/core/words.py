"""Words for people that every layer may need."""

from collections.abc import Sequence


def in_a_row(words: Sequence[str]) -> str:
    """Words as a sentence lists them, as in ``a, b and c``; there is at least one."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))
