"""README and guides as the tests look at them: text, blocks, tables, names in code font."""

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from imuproc.cli.guide import GUIDES, TOPICS
from tests.guards.sources import REPO

_BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_CODE = re.compile(r"`([^`\n]+)`")


@dataclass(frozen=True)
class Block:
    """A fenced block of a page."""

    page: str
    language: str
    text: str


@dataclass(frozen=True)
class Page:
    """README or a guide."""

    name: str
    path: Path
    text: str

    @property
    def blocks(self) -> list[Block]:
        return [Block(self.name, language, text) for language, text in _BLOCK.findall(self.text)]

    @property
    def prose(self) -> str:
        """All but the fenced blocks."""
        return _BLOCK.sub("", self.text)

    @property
    def code(self) -> list[str]:
        """What stands in code font outside of blocks."""
        return _CODE.findall(self.prose)

    @property
    def rows(self) -> list[list[str]]:
        """Cells of all tables, headings and rules left out."""
        lines = [line for line in self.prose.splitlines() if line.startswith("|")]
        rules = {n for n, line in enumerate(lines) if re.fullmatch(r"[|\-: ]+", line)}
        kept = [ln for n, ln in enumerate(lines) if n not in rules and n + 1 not in rules]
        return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in kept]

    def section(self, heading: str) -> str:
        """Prose from a heading to the next of its level or a higher one."""
        level = heading.split(" ")[0]
        rest = self.prose.split(f"\n{heading}\n")[1]
        return re.split(rf"^#{{1,{len(level)}}} ", rest, flags=re.MULTILINE)[0]


@cache
def pages() -> dict[str, Page]:
    """README and every guide by name."""
    paths = {"README": REPO / "README.md", **{topic: GUIDES / f"{topic}.md" for topic in TOPICS}}
    return {name: Page(name, path, path.read_text("utf-8")) for name, path in paths.items()}


def blocks(language: str) -> list[Block]:
    """All fenced blocks in a language, in the order of the pages."""
    return [b for page in pages().values() for b in page.blocks if b.language == language]


def block(page: str, language: str, holds: str = "") -> str:
    """First block of a page in a language that holds a text."""
    found = pages()[page].blocks
    return next(b.text for b in found if b.language == language and holds in b.text)
