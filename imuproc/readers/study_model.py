"""The study file as pydantic sees it: which keys there are and what each allows.

Layouts are checked by the model of their own format, see ``references/layout.py``.
"""

from typing import Annotated, Any

from pydantic import Field, field_validator

from imuproc.core.columns import FIGURES
from imuproc.core.sites import Side
from imuproc.files.toml_reading import Table, refuse
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.session_model import ID_PATTERN

SCHEMA = 1

# Runs that were found in a log have the log's run id, an underscore and their number.
_RUN_PATTERN = ID_PATTERN.removesuffix("$") + r"(_[0-9]{1,3})?$"

_Note = Annotated[str | None, Field(default=None, description="a text")]


def _make_window_field(default: Any = None) -> Any:
    text = "seconds, above 0, at most 0.5"
    return Field(default=default, gt=0, le=0.5, description=text)


class StudyEntry(Table):
    """The ``[study]`` table."""

    id: str = Field(pattern=ID_PATTERN, description="1 to 64 letters A to Z, digits or hyphens")
    window_s: float = _make_window_field(0.05)
    figures: list[str] | None = Field(
        default=None, min_length=1, description='a list such as ["contact_time_s"]'
    )
    note: _Note

    @field_validator("figures")
    @classmethod
    def _check_figures(cls, value: list[str] | None) -> list[str] | None:
        for name in value or []:
            if name not in FIGURES:
                allowed = quote_all(FIGURES) + suggest_word(name, FIGURES)
                raise refuse(f"the text {quote(name)}", allowed)
        return value


class InstantEntry(Table):
    """One instant seen by both: what ties the clocks together where events do not."""

    table_s: float = Field(allow_inf_nan=False, description="its time in the step table, in s")
    reference_s: float = Field(
        allow_inf_nan=False, description="its time on the reference's clock, in s"
    )
    u_s: float = Field(
        ge=0,
        allow_inf_nan=False,
        description="the standard uncertainty in s of the difference between the two, 0 or more",
    )


class StudyRunEntry(Table):
    """One ``[[run]]`` table: a run of the results, and what it is held against."""

    id: str = Field(
        pattern=_RUN_PATTERN, description="the id of a run as in the column run of steps.csv"
    )
    results: str = Field(
        min_length=1, description="the folder that imuproc process wrote, from the study file's"
    )
    reference: str = Field(min_length=1, description="a path from the study file's folder")
    layout: str = Field(description="the name of a [layout.<name>] table")
    instant: InstantEntry | None = Field(
        default=None,
        description="a table such as { table_s = 12.34, reference_s = 3.21, u_s = 0.004 }; left "
        "out: clocks are tied by the events",
    )
    window_s: float | None = _make_window_field()
    sides: list[Side] | None = Field(
        default=None, min_length=1, description='a list: ["left"], ["right"] or ["left", "right"]'
    )
    covers_s: tuple[float, float] | None = Field(
        default=None,
        strict=False,
        description="a list of two times in s on the reference's clock, first and last",
    )
    standing: str | None = Field(
        default=None, min_length=1, description="a path from the study file's folder"
    )
    note: _Note

    @field_validator("covers_s")
    @classmethod
    def _check_order(cls, value: tuple[float, float] | None) -> tuple[float, float] | None:
        if value is not None and not value[0] < value[1]:
            raise refuse(f"{value[0]:g} and {value[1]:g}", "the first time before the last")
        return value


class StudyFile(Table):
    """The whole file; its ``schema`` number has been checked and taken away before."""

    study: StudyEntry = Field(description="a table [study] with id")
    layout: dict[str, Any] = Field(min_length=1, description="at least one table [layout.<name>]")
    run: list[StudyRunEntry] = Field(
        min_length=1, description="at least one table [[run]], with double brackets"
    )
