"""Settings as a TOML file that explains itself: one to start from."""

import inspect
import textwrap

from imuproc.core.errors import SessionError
from imuproc.files.settings_model import Setting, StageSettings, list_settings, list_tables
from imuproc.files.toml_writing import format_toml
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.pipeline.settings import Settings

_WIDTH = 98
_HEAD = """\
Settings of the method: every number that it uses, with its meaning, what is allowed, and what its
value is based on. `imuproc process SESSION --settings FILE` takes such a file, or a part of one:
what is left out stays as it is here.
"""


def write_settings_text(settings: Settings, stage: str = "") -> str:
    """A TOML document with a comment on every number.

    Parameters
    ----------
    settings : Settings
    stage : str
        Only this table and those in it, as ``motion`` or ``calibration.standing``; all when empty.

    Returns
    -------
    str
        :func:`~imuproc.pipeline.settings.read_settings` reads the same settings from it.

    Raises
    ------
    SessionError
        There is no such stage.

    Examples
    --------
    >>> text = write_settings_text(Settings(), "long")
    >>> print("\\n".join(line for line in text.splitlines() if line.startswith(("[", "bin"))))
    [long]
    bin_hz = 100.0
    """
    tables = list_tables(settings)
    if stage and stage not in tables:
        raise SessionError(
            f"found stage {quote(stage)}; allowed: {quote_all(tables)}"
            + suggest_word(stage, tables)
        )
    lines = [f"# {line}" for line in _HEAD.splitlines()]
    for name, own in tables.items():
        if name == stage or not stage or name.startswith(f"{stage}."):
            lines += _write_table(name, own)
    return "\n".join(lines) + "\n"


def _write_table(name: str, stage: StageSettings) -> list[str]:
    lines = ["", f"[{name}]", *_write_comment(inspect.getdoc(type(stage)) or "")]
    for setting in list_settings(stage):
        lines += ["", *_write_setting(setting)]
    return lines


def _write_setting(setting: Setting) -> list[str]:
    value = list(setting.value) if isinstance(setting.value, tuple) else setting.value
    known = f"Allowed: {setting.allowed}. Basis: {setting.basis}."
    told = [*_write_comment(setting.meaning), *_write_comment(known)]
    return [*told, format_toml({setting.key: value}).strip()]


def _write_comment(text: str) -> list[str]:
    """Lines of a comment; paragraphs stay paragraphs."""
    wrapper = textwrap.TextWrapper(_WIDTH, break_on_hyphens=False, break_long_words=False)
    parts = [wrapper.wrap(" ".join(part.split())) for part in text.split("\n\n")]
    lines = parts[0] + [line for part in parts[1:] for line in ("", *part)]
    return [f"# {line}".rstrip() for line in lines]
