"""How one kind of log is written: the ``[layout.<name>]`` tables of a session file."""

import datetime
from typing import Annotated, Any, Final, Literal

from pydantic import (
    AfterValidator,
    Field,
    PlainSerializer,
    PlainValidator,
    field_validator,
    model_validator,
)

from imuproc.core.units import AccelUnit, GyroUnit, TimeUnit
from imuproc.files.toml_reading import Table, refuse, refuse_missing_key
from imuproc.files.wording import describe_value, quote

Format = Literal["delimited", "hdf5", "parquet", "bids-motion", "xdf"]
SELF_DESCRIBED: Final[tuple[Format, ...]] = ("hdf5", "bids-motion")
"""Formats that can say themselves which numbers are what, in which unit."""

THREE_COLUMNS: Final = (
    'a list of three columns for x, y and z, such as ["ax", "ay", "az"]; with format = "hdf5" also '
    "the path of one dataset with three columns"
)
ColumnKey = str | int
UNIX_ZERO: Final = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)


def _check_column_key(value: Any) -> ColumnKey:
    is_name = isinstance(value, str) and bool(value.strip())
    is_number = isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 10_000
    if is_name or is_number:
        return value  # type: ignore[no-any-return]
    raise refuse(describe_value(value), "a column's name, or its number counted from 1")


def _check_missing_code(value: Any) -> str | float:
    if isinstance(value, str) or (isinstance(value, int | float) and not isinstance(value, bool)):
        try:
            return value if isinstance(value, str) else float(value)
        except OverflowError:
            pass
    raise refuse(describe_value(value), 'a text or a number, such as "n/a" or -9999')


def _check_zero(value: Any) -> str | datetime.datetime:
    if value == "unix" or isinstance(value, datetime.datetime):
        return value  # type: ignore[no-any-return]
    allowed = '"unix" (stamps count from 1970-01-01 UTC), or a date and time without quotes'
    raise refuse(describe_value(value), f"{allowed}, such as 2031-04-12T09:30:00+02:00")


def _format_zero(value: str | datetime.datetime | None) -> str | None:
    # Left to itself, pydantic warns of the text that it has made.
    return value.isoformat() if isinstance(value, datetime.datetime) else value


def _check_axis_count(columns: tuple[ColumnKey, ...]) -> tuple[ColumnKey, ...]:
    if len(columns) == 2:
        raise refuse("a list of 2", THREE_COLUMNS)
    return columns


_Column = Annotated[ColumnKey, PlainValidator(_check_column_key)]
_Three = Annotated[
    tuple[_Column, ...],
    Field(
        strict=False,  # TOML lists become tuples
        min_length=1,
        max_length=3,
        description=THREE_COLUMNS,
    ),
    AfterValidator(_check_axis_count),
]
_Range = Annotated[
    float | None,
    Field(
        default=None,
        gt=0,
        allow_inf_nan=False,
        description="the sensor's full scale in the column's own unit, above 0",
    ),
]


class TimeColumn(Table):
    """Where the time stamps stand, and when they count 0 where that is known."""

    column: _Column = Field(description="a column's name, or its number counted from 1")
    unit: TimeUnit
    zero: Annotated[
        Literal["unix"] | datetime.datetime | None,
        PlainValidator(_check_zero),
        PlainSerializer(_format_zero, when_used="json"),
    ] = None

    @property
    def zero_at(self) -> datetime.datetime | None:
        """Instant at which the stamps count 0; None where it is not stated."""
        return UNIX_ZERO if self.zero == "unix" else self.zero


class AccelColumns(Table):
    """Where the accelerometer stands; ``range`` in the column's own unit."""

    columns: _Three
    unit: AccelUnit
    range: _Range


class GyroColumns(Table):
    """Where the gyroscope stands; ``range`` in the column's own unit."""

    columns: _Three
    unit: GyroUnit
    range: _Range


class Layout(Table):
    """How one kind of log is written.

    Columns are named as in the log's header, or numbered from 1 where it has none; one way
    throughout a layout. In HDF5 they are paths of datasets, in XDF labels of channels. A format
    that says itself what stands where needs no columns.
    """

    format: Format | None = None
    time: TimeColumn | None = Field(
        default=None, description='a table such as { column = "time_s", unit = "s" }'
    )
    rate_hz: float | None = Field(
        default=None, gt=0, allow_inf_nan=False, description="a sampling rate in Hz, above 0"
    )
    accel: AccelColumns | None = Field(
        default=None,
        description='a table such as { columns = ["ax", "ay", "az"], unit = "g", range = 16 }',
    )
    gyro: GyroColumns | None = Field(
        default=None,
        description='a table such as { columns = ["gx", "gy", "gz"], unit = "deg/s", '
        "range = 2000 }",
    )
    delimiter: Literal[",", ";", "\t", "|", " "] | None = Field(
        default=None,
        description='one of "," ";" "\\t" "|" or " " (any run of blanks); left out: recognised',
    )
    decimal: Literal[".", ","] | None = Field(
        default=None, description='"." or ","; left out: recognised'
    )
    skip_rows: int = Field(
        default=0, ge=0, le=1_000_000, description="a number of lines, 0 or more"
    )
    comment: str = Field(default="#", description='what comment lines begin with, such as "#"')
    missing: Annotated[str | float, PlainValidator(_check_missing_code)] | None = None
    encoding: str | None = None

    @property
    def has_numbered_columns(self) -> bool:
        """Whether columns are numbered instead of named."""
        return self.accel is not None and isinstance(self.accel.columns[0], int)

    @field_validator("comment")
    @classmethod
    def _check_comment(cls, value: str) -> str:
        if not value.strip() or value.strip()[0] in "0123456789+-.,;|\"'" or "\n" in value:
            raise refuse(
                f"the text {quote(value)}",
                "a mark that no line with numbers begins with, such as # or %",
            )
        return value.strip()

    @field_validator("encoding")
    @classmethod
    def _check_encoding(cls, value: str | None) -> str | None:
        try:
            b"a".decode(value or "utf-8")
        except UnicodeError:
            return value  # the encoding is known; one byte is too short for it
        except (LookupError, ValueError) as error:
            raise refuse(
                f"the text {quote(str(value))}",
                "a text encoding that Python knows, such as utf-8, utf-16, cp1252 or latin-1",
            ) from error
        return value

    @model_validator(mode="after")
    def _check_columns(self) -> "Layout":
        if self.accel is None or self.gyro is None:
            describes_itself = self.format in (None, *SELF_DESCRIBED)
            given = (self.accel, self.gyro, self.time, self.rate_hz)
            if not describes_itself or any(key is not None for key in given):
                raise refuse_missing_key("accel" if self.accel is None else "gyro")
            return self
        if self.format == "bids-motion":
            raise refuse("columns", "no columns with format 'bids-motion': its files name them")
        for columns in (self.accel.columns, self.gyro.columns):
            if len(columns) == 1 and self.format != "hdf5":
                raise refuse("a list of 1", THREE_COLUMNS)
        _check_time(self)
        _check_keys(self)
        return self


def _check_time(layout: Layout) -> None:
    stated = (layout.time is not None) + (layout.rate_hz is not None)
    if layout.format == "xdf" and stated:
        raise refuse(
            "time" if layout.rate_hz is None else "rate_hz",
            "neither time nor rate_hz with format 'xdf': its streams carry stamps",
        )
    if layout.format != "xdf" and stated != 1:
        allowed = "one of the two: time where the log has a time column, else rate_hz"
        if not stated and layout.format is None:
            allowed += '; none with format = "xdf", whose streams carry stamps'
        raise refuse("both time and rate_hz" if stated else "neither time nor rate_hz", allowed)


def _check_keys(layout: Layout) -> None:
    groups = (layout.accel, layout.gyro)
    keys = [key for group in groups if group is not None for key in group.columns]
    keys += [] if layout.time is None else [layout.time.column]
    if len({type(key) for key in keys}) > 1:
        raise refuse("both names and numbers of columns", "one of the two in a layout")
    if layout.format == "hdf5" and isinstance(keys[0], int):
        raise refuse("numbers of columns", "paths of datasets, such as 'imu/accel'")
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise refuse(f"the column {twice!r} twice", "a column of its own for each signal")
