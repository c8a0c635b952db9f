"""A guide set for a terminal: headings, tables and code from its Markdown."""

from typing import ClassVar, Final

from rich.console import Console, ConsoleOptions, RenderResult
from rich.markdown import Markdown, MarkdownElement, TableElement
from rich.table import Table
from rich.theme import Theme

_WIDEST: Final = 110  # longer lines are hard to read
_LOOKS: Final = Theme({"markdown.code": "bold cyan", "markdown.code_block": "cyan"})


class _WholeTable(TableElement):
    """A table that breaks a word rather than cut it off where a column is narrow."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for part in super().__rich_console__(console, options):
            if isinstance(part, Table):
                for column in part.columns:
                    column.overflow = "fold"
            yield part


class _Guide(Markdown):
    elements: ClassVar[dict[str, type[MarkdownElement]]] = {
        **Markdown.elements,
        "table_open": _WholeTable,
    }


def print_guide(text: str) -> None:
    """Print Markdown on the terminal, as wide as it is and reads well.

    Parameters
    ----------
    text : str
    """
    console = Console(theme=_LOOKS)
    guide = _Guide(text, code_theme="ansi_dark", hyperlinks=False)
    console.print(guide, width=min(console.width, _WIDEST))
