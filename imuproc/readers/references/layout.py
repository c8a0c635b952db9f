"""How one kind of reference is written: the ``[layout.<name>]`` tables of a study file."""

from typing import Annotated, Any, Final, Literal

from pydantic import Field, ValidationError, create_model, field_validator, model_validator

from imuproc.core.columns import FIGURES
from imuproc.core.reference import ReferenceKind
from imuproc.core.sites import Side
from imuproc.core.units import TimeUnit
from imuproc.dsp.force import LOADED_N
from imuproc.files.toml_reading import (
    Problem,
    Table,
    make_field_above_0,
    make_problem,
    refuse,
    to_problems,
)
from imuproc.files.wording import describe_value, quote, quote_all, suggest_word

ReferenceFormat = Literal["events", "photocells", "c3d", "bids-events"]
EventUnit = Literal["frame", "s", "ms", "us"]
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]

ANGLES: Final[tuple[str, ...]] = tuple(name for name in FIGURES if name.endswith("_deg"))
SIDE_WORDS: Final[dict[str, Side]] = {"left": "left", "right": "right", "l": "left", "r": "right"}

_Name = Annotated[str, Field(min_length=1, description="a column's name in the header")]
_OptionalName = Annotated[
    str | None, Field(default=None, min_length=1, description="a column's name in the header")
]
_Words = Annotated[
    dict[str, Side],
    Field(default_factory=dict, description='a table such as { L = "left", R = "right" }'),
]


def _make_threshold_field(default: float | None) -> Any:
    text = f"newtons, above 0 and below {LOADED_N:g}"
    return Field(default=default, gt=0, lt=LOADED_N, description=text)


class SidedLayout(Table):
    """How a reference tells left from right.

    ``sides`` adds the file's own words to ``left``, ``right``, ``l`` and ``r`` (any case); ``side``
    says it of the whole file.
    """

    sides: _Words
    side: Literal["left", "right", "unknown"] | None = None

    def check_side(self, column: str | None) -> None:
        """Refuse a layout that leaves the side open without saying so."""
        if (column is None) == (self.side is None):
            raise refuse(
                "neither columns.side nor side" if column is None else "both columns.side and side",
                'one of the two: columns.side, or side = "left", "right" or "unknown"',
            )


class EventsColumns(Table):
    """Columns of a table with a row for each contact."""

    touchdown: _Name
    toe_off: _OptionalName
    side: _OptionalName


class EventsLayout(SidedLayout):
    """Delimited text with a row for each contact: events by frame number, or by time."""

    format: Literal["events"]
    kind: Literal["video", "force plate", "markers", "events"]
    unit: EventUnit
    frame_rate_hz: float | None = make_field_above_0("the rate in Hz at which frames were taken")
    threshold_n: float | None = _make_threshold_field(None)
    columns: EventsColumns = Field(
        description='a table such as { side = "foot", touchdown = "on", toe_off = "off" }'
    )
    angles: dict[str, str] = Field(
        default_factory=dict,
        description='a table such as { shin_angle_touchdown_deg = "shin" }',
    )

    @field_validator("angles")
    @classmethod
    def _check_angles(cls, value: dict[str, str]) -> dict[str, str]:
        for name in value:
            if name not in ANGLES:
                raise refuse(
                    f"the key {quote(name)}", quote_all(ANGLES) + suggest_word(name, ANGLES)
                )
        return value

    @model_validator(mode="after")
    def _check_consistency(self) -> "EventsLayout":
        self.check_side(self.columns.side)
        if self.unit == "frame" and self.frame_rate_hz is None:
            raise refuse(
                'unit = "frame" without frame_rate_hz',
                "frame_rate_hz, the rate in Hz at which the frames were taken (of a slow-motion "
                "film not the rate at which it is shown)",
            )
        return self


class PhotocellColumns(Table):
    """Columns of a table with a row for each contact, in the order of the run."""

    contact_time: _Name
    flight_time: _OptionalName
    side: _OptionalName


class PhotocellsLayout(SidedLayout):
    """Delimited text with contact and flight times, without a clock."""

    format: Literal["photocells"]
    unit: TimeUnit
    rate_hz: float | None = make_field_above_0("the rate in Hz at which the bars are read")
    columns: PhotocellColumns = Field(
        description='a table such as { contact_time = "tc", flight_time = "tf", side = "foot" }'
    )

    @model_validator(mode="after")
    def _check_consistency(self) -> "PhotocellsLayout":
        self.check_side(self.columns.side)
        return self


class BidsEventsLayout(Table):
    """Events of a BIDS ``_events.tsv``: what its words mean.

    Either ``contacts`` (rows that last as long as a contact), or ``touchdowns`` and ``toe_offs``.
    """

    format: Literal["bids-events"]
    kind: ReferenceKind = "events"
    column: str = Field(
        default="trial_type", min_length=1, description="the column that holds the words"
    )
    contacts: _Words
    touchdowns: _Words
    toe_offs: _Words
    rate_hz: float | None = make_field_above_0("the rate in Hz of what the events were found in")
    threshold_n: float | None = _make_threshold_field(None)

    @model_validator(mode="after")
    def _check_consistency(self) -> "BidsEventsLayout":
        by_events = bool(self.touchdowns)
        if by_events == bool(self.contacts) or (self.toe_offs and not by_events):
            raise refuse(
                "both contacts and touchdowns" if by_events else "no touchdowns",
                'either contacts = { "contact_left" = "left", ... }, or touchdowns and toe_offs',
            )
        return self


class LegMarkers(Table):
    """Names of one leg's markers in the file; any of them may be left out."""

    knee: _OptionalName
    ankle: _OptionalName
    heel: _OptionalName
    toe: _OptionalName


class Markers(Table):
    """Names of the markers of both legs."""

    left: LegMarkers = Field(description='a table such as { knee = "LKNE", ankle = "LANK" }')
    right: LegMarkers = Field(description='a table such as { knee = "RKNE", ankle = "RANK" }')


class C3dLayout(Table):
    """A C3D file: where events, sides and angles come from."""

    format: Literal["c3d"]
    events: Literal["force", "stored"]
    threshold_n: float = _make_threshold_field(20.0)
    plates: tuple[int, ...] | None = Field(
        default=None,
        strict=False,
        min_length=1,
        description="a list of the force plates' numbers, counted from 1",
    )
    touchdown_label: str = Field(default="Foot Strike", min_length=1, description="a text")
    toe_off_label: str = Field(default="Foot Off", min_length=1, description="a text")
    first_side: Side | None = None
    up: Axis = "+z"
    forward: Axis | Literal["motion"] | None = None
    markers: Markers | None = Field(
        default=None,
        description='a table such as { left = { knee = "LKNE", ankle = "LANK", heel = "LHEE", '
        'toe = "LTOE" }, right = { ... } }',
    )

    @model_validator(mode="after")
    def _check_consistency(self) -> "C3dLayout":
        if self.forward is not None and self.forward[-1] == self.up[-1]:
            raise refuse(
                f"forward = {quote(self.forward)} along up = {quote(self.up)}",
                "two different axes",
            )
        if self.markers is not None and self.forward is None:
            raise refuse(
                "markers without forward",
                'forward = "+x", "-x", ... as the athlete runs, or "motion" where the athlete '
                "comes along (not on a treadmill)",
            )
        if self.first_side is not None and self.events == "stored":
            raise refuse("first_side", "only with events = 'force': stored events have sides")
        return self


ReferenceLayout = EventsLayout | PhotocellsLayout | BidsEventsLayout | C3dLayout

LAYOUTS: Final[dict[ReferenceFormat, type[ReferenceLayout]]] = {
    "events": EventsLayout,
    "photocells": PhotocellsLayout,
    "c3d": C3dLayout,
    "bids-events": BidsEventsLayout,
}


def check_layout(name: str, value: Any) -> tuple[ReferenceLayout | None, list[Problem]]:
    """Check a ``[layout.<name>]`` table by the model of its format.

    Parameters
    ----------
    name : str
    value : object
        As the TOML file has it.

    Returns
    -------
    layout : ReferenceLayout or None
        None where there are problems.
    problems : list of Problem
        Their places begin with ``layout`` and the name.
    """
    place = ("layout", name)
    if not isinstance(value, dict):
        return None, [make_problem(place, describe_value(value), "a table with format and more")]
    stated = value.get("format")
    if not isinstance(stated, str) or stated not in LAYOUTS:
        hint = suggest_word(stated, LAYOUTS) if isinstance(stated, str) else ""
        shown = "nothing" if stated is None else describe_value(stated)
        return None, [make_problem((*place, "format"), shown, quote_all(LAYOUTS) + hint)]
    model = LAYOUTS[stated]
    # Places of problems are those in the file only where the model begins at the file's top.
    whole = create_model("Whole", __base__=Table, layout=(dict[str, model], ...))  # type: ignore[valid-type]
    try:
        checked: Any = whole.model_validate({"layout": {name: value}})
    except ValidationError as error:
        return None, to_problems(error, whole)
    return checked.layout[name], []
