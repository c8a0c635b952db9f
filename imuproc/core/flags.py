"""A flag that was raised: its name, where it stands, and what was found, as data.

Words for people are made where they are shown, by ``flag_words``.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace

from imuproc.core.marks import Marks

Value = float | int | str | bool
"""What a flag may tell: a measure with its unit in its name, a count, a name, whether it is so."""

Values = Mapping[str, Value]


@dataclass(frozen=True)
class RaisedFlag:
    """A flag raised on a run (``step`` None) or on one step, with what was found.

    Parameters
    ----------
    name : str
        Name of a flag in :data:`imuproc.core.flag_list.FLAGS`.
    values : mapping from str to number, str or bool
        What was found, units at the end of the names. ``figure`` is the column of the step table
        that was withheld for it. Of an archive of schema 1 the words alone: ``detail``.
    site : str
        Sensor concerned; empty when it is the whole run.
    step : int or None
        Step number concerned.
    run : str
        Id of the run concerned where a log held several; empty otherwise.
    span_s : tuple of (float, float) or None
        First and last instant of it in s; infinite where it goes on beyond what is told about.
    marks : Marks or None
        Samples that it is about, while it is not settled which runs they concern.

    Examples
    --------
    >>> RaisedFlag("gyro_zero_moved", {"by_degps": 2.5, "left_out": True}, "left_foot").values
    {'by_degps': 2.5, 'left_out': True}
    """

    name: str
    values: Values = field(default_factory=dict, hash=False)
    site: str = ""
    step: int | None = None
    run: str = ""
    span_s: tuple[float, float] | None = None
    marks: Marks | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_marks(
        cls, name: str, marks: Marks, site: str, values: Values | None = None
    ) -> "RaisedFlag":
        """A flag about samples of a log: beside its own values those that its marks give."""
        return cls(name, values or {}, site)._replace_marks(marks)

    def cut_to(self, from_s: float, to_s: float) -> "RaisedFlag | None":
        """The flag of a part of the log, which ends at given times in s; None where it has none.

        One that is about no samples in particular is one of every part.
        """
        if self.marks is None:
            return self
        own = self.marks.cut_to(from_s, to_s)
        return replace(self._replace_marks(own), marks=None) if len(own.samples) else None

    def join(self, later: "RaisedFlag") -> "RaisedFlag":
        """One flag of two of the same :attr:`kind`, of a part of a log and of the next one."""
        if self.marks is None or later.marks is None:
            return self
        return self._replace_marks(self.marks.join(later.marks))

    @property
    def kind(self) -> Hashable:
        """What two flags of parts of a log have in common where they are one of both together."""
        counted = () if self.marks is None else self.marks.list_values()
        own = ((name, value) for name, value in self.values.items() if name not in counted)
        return self.name, self.site, tuple(sorted(own))

    def _replace_marks(self, marks: Marks) -> "RaisedFlag":
        values, span_s = {**self.values, **marks.list_values()}, marks.find_span_s() or self.span_s
        return replace(self, values=values, span_s=span_s, marks=marks)
