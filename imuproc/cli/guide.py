"""``imuproc guide``: the guides of the folder ``imuproc/guides``, to read without a network."""

import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

import typer

GUIDES: Final = Path(__file__).resolve().parents[1] / "guides"
TOPICS: Final = (
    "recording", "session", "formats", "clocks", "processing", "report", "figures", "flags",
    "method", "accuracy", "agreement", "planning", "python", "clusters", "cautions",
)  # fmt: skip
"""Every guide by the name of its file, in the order in which a newcomer needs them."""

_ASIDE: Final = re.compile(r"^(?:<!--.*-->|!\[.*\]\(.*\))\n+", re.MULTILINE)
_LINK: Final = re.compile(r"\[([^\]]+)\]\(([^)\s]+)\)")


@dataclass(frozen=True)
class GuideOptions:
    """What a user can ask ``imuproc guide`` for."""

    topic: Annotated[
        str | None,
        typer.Argument(metavar="TOPIC", help="Left out: list the topics.", show_default=False),
    ] = None


def guide(options: GuideOptions) -> None:
    """Read a guide: recording, log formats, figures, flags, accuracy and more.

    Exit code: 0 shown, 2 there is no such topic.
    """
    texts = {topic: _read_guide(topic) for topic in TOPICS}
    if options.topic is None:
        print("Read one with: imuproc guide TOPIC\n")
        for topic, text in texts.items():
            print(f"  {topic:11} {text.splitlines()[2]}")
        return
    topic = options.topic.strip().casefold().removesuffix(".md")
    if topic not in texts:
        from imuproc.core.errors import SessionError
        from imuproc.files.wording import quote, quote_all, suggest_word

        hint = suggest_word(topic, texts) or suggest_word(_find_most_mentions(topic, texts), texts)
        raise SessionError(
            f"guide: found no topic {quote(options.topic)}{hint}\nallowed: {quote_all(texts)}"
        )
    _show_guide(texts[topic])


def _read_guide(topic: str) -> str:
    """A guide as it reads away from the web: no pictures, commands in place of links."""
    text = (GUIDES / f"{topic}.md").read_text(encoding="utf-8")
    return _LINK.sub(_replace_link, _ASIDE.sub("", text))


def _replace_link(link: re.Match[str]) -> str:
    words, target = link.groups()
    other = target.partition("#")[0].removesuffix(".md")
    if other not in TOPICS:
        return words if "://" not in target else link.group()
    command = f"`imuproc guide {other}`"
    return command if words.casefold() == other else f"{words} ({command})"


def _find_most_mentions(word: str, texts: Mapping[str, str]) -> str:
    """The guide that says a word most often; empty where none does."""
    counts = {topic: text.casefold().count(word) for topic, text in texts.items()}
    most = max(counts, key=lambda topic: counts[topic])
    return most if word and counts[most] else ""


def _show_guide(text: str) -> None:
    """Headings, tables and code set for a terminal; elsewhere the text as it is."""
    if not sys.stdout.isatty():
        print(text.rstrip())
        return
    from imuproc.report.guide_view import print_guide

    print_guide(text)
