"""The session file as pydantic sees it: which keys there are and what each allows.

What needs more than one key (a run's athlete, paths, ids used twice) is checked in
``session_checks.py``.
"""

import datetime
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from imuproc.core.recording import Clock, Start, Surface
from imuproc.core.sites import Site
from imuproc.files.toml_reading import Table
from imuproc.readers.logs.layout import Layout

SCHEMA = 1
ID_PATTERN = r"^[A-Za-z0-9-]{1,64}$"

_Id = Annotated[
    str,
    Field(pattern=ID_PATTERN, description="1 to 64 letters A to Z, digits or hyphens"),
]
_Text = Annotated[str | None, Field(default=None, min_length=1, description="a text")]
_Note = Annotated[str | None, Field(default=None, description="a text")]


def _make_length_field(most_m: float) -> Any:
    # The upper limit catches centimetres, which would otherwise pass for metres.
    return Field(default=None, gt=0, le=most_m, description=f"metres, above 0, at most {most_m:g}")


def _make_lean_field(default_deg: float | None) -> Any:
    return Field(
        default=default_deg, ge=-45, le=45, allow_inf_nan=False, description="degrees, -45 to 45"
    )


def _wrap_file_name(value: Any) -> Any:
    return {"file": value} if isinstance(value, str) else value


class SessionEntry(Table):
    """The ``[session]`` table."""

    id: _Id
    date: datetime.date = Field(description="a date without quotes, such as 2031-04-12")
    surface: Surface
    latitude_deg: float | None = Field(
        default=None, ge=-90, le=90, allow_inf_nan=False, description="degrees, -90 to 90"
    )
    standing_lean_deg: float = _make_lean_field(0.0)
    note: _Note


class AthleteEntry(Table):
    """One ``[[athlete]]`` table; the fields of :class:`imuproc.core.recording.Athlete`."""

    id: _Id
    stature_m: float | None = _make_length_field(3.0)
    shank_length_m: float | None = _make_length_field(1.0)
    thigh_length_m: float | None = _make_length_field(1.0)
    foot_length_m: float | None = _make_length_field(0.6)
    standing_lean_deg: float | None = _make_lean_field(None)
    birth_year: int | None = Field(
        default=None, ge=1900, le=2100, description="a year, 1900 to 2100"
    )
    group: _Text
    targets: _Text
    note: _Note


class LogEntry(Table):
    """One log of a run: its file, which sensor in the file, and how it is written."""

    file: str = Field(min_length=1, description="a path relative to the session file's folder")
    select: _Text
    layout: str | None = Field(default=None, description="the name of a [layout.<name>] table")


Log = Annotated[LogEntry, BeforeValidator(_wrap_file_name)]


class RunEntry(Table):
    """One ``[[run]]`` table."""

    id: _Id
    athlete: str = Field(description="the id of an [[athlete]]")
    start: Start
    distance_m: float | None = Field(
        default=None, gt=0, allow_inf_nan=False, description="metres, above 0"
    )
    layout: str | None = Field(default=None, description="the name of a [layout.<name>] table")
    clock: Clock
    logs: dict[Site, Log] = Field(
        min_length=1,
        description="a log for at least one site, such as "
        '{ left_shank = "logs/R07-01_ls.csv", left_foot = { file = "logs/R07-01_lf.csv" } }',
    )
    belt_speed_mps: float | None = Field(
        default=None, gt=0, allow_inf_nan=False, description="m/s, above 0"
    )
    curve_radius_m: float | None = Field(
        default=None, gt=0, allow_inf_nan=False, description="metres, above 0"
    )
    note: _Note


class SessionFile(Table):
    """The whole file; its ``schema`` number has been checked and taken away before."""

    session: SessionEntry = Field(description="a table [session] with id, date and surface")
    layout: dict[str, Layout] = Field(
        min_length=1, description="at least one table [layout.<name>]"
    )
    athlete: list[AthleteEntry] = Field(
        min_length=1, description="at least one table [[athlete]], with double brackets"
    )
    run: list[RunEntry] = Field(
        min_length=1, description="at least one table [[run]], with double brackets"
    )
