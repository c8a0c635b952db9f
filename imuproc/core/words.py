"""Words for people that every layer may need."""

from collections.abc import Sequence
from itertools import groupby


def join_words(words: Sequence[str]) -> str:
    """Words as a sentence lists them, as in ``a, b and c``; there is at least one."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def format_count(count: int, noun: str) -> str:
    """A count and its noun, as in ``1 run``, ``2 runs`` and ``3 stretches``."""
    ending = "es" if noun.endswith(("ch", "sh", "s", "x")) else "s"
    return f"{count} {noun}" if count == 1 else f"{count} {noun}{ending}"


def format_spans(numbers: Sequence[int]) -> str:
    """Ascending numbers as spans, as in ``1-3, 7``."""
    # Within a span a number and its place go up together.
    groups = groupby(enumerate(numbers), lambda pair: pair[1] - pair[0])
    parts = [[number for _, number in group] for _, group in groups]
    return ", ".join(f"{p[0]}-{p[-1]}" if len(p) > 1 else str(p[0]) for p in parts)


def format_steps(numbers: Sequence[int]) -> str:
    """Steps by number, as in ``steps 1-3, 7``."""
    return f"{'step' if len(numbers) == 1 else 'steps'} {format_spans(numbers)}"
