"""Templates filled in: everything is escaped, style and script are put into the page."""

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

_TEMPLATES: Final = Path(__file__).with_name("templates")


@lru_cache(maxsize=1)
def _make_environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def render_page(template: str, content: Mapping[str, Any], script: str = "") -> str:
    """HTML of a page.

    Parameters
    ----------
    template : str
        File name of the template.
    content : mapping
        What it names; a name that is missing is an error.
    script : str
        File name of the script that goes into the page; empty for none.

    Returns
    -------
    str
    """
    return (
        _make_environment()
        .get_template(template)
        .render(**content, css=_read_own("page.css"), js=_read_own(script) if script else "")
    )


@lru_cache(maxsize=8)
def _read_own(name: str) -> Markup:
    """A file of ours that goes into the page as it is."""
    return Markup((_TEMPLATES / name).read_text(encoding="utf-8"))
