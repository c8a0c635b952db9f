"""What every flag means for the figures, and who is told of it: the one place that decides it.

Information
    tells how much is known of such runs: nothing is wrong.
Fault
    something is wrong or missing; uncertainties say what it costs.
Serious
    figures may be wrong, or are withheld.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from imuproc.core.columns import ANGLES, EVENTS, FIGURES, LENGTHS, TIMES, TO_NEXT_STEP
from imuproc.core.flags import RaisedFlag
from imuproc.core.sites import SIDES

Grade = Literal["information", "fault", "serious"]
Severity = Literal["note", "limit", "unfit"]
Reader = Literal["page", "terminal", "json", "squad", "headline", "strict"]
Figures = frozenset[str]

_NONE: Final[Figures] = frozenset()


def _map_by_segment(also: Figures = _NONE) -> Mapping[str, Figures]:
    """Figures that hang on the sensor of each segment; ``also`` on those of shank and foot."""

    def select_figures(*begin: str) -> Figures:
        return frozenset(name for name in ANGLES if name.startswith(begin))

    chain = ("ankle_ahead_of_hip", "hip_height", "knee_angle")
    shank = select_figures("shin", "ankle_ahead_of_knee", "dorsiflexion", "trunk_against", *chain)
    return {
        "shank": shank | also,
        "foot": select_figures("foot_pitch", "dorsiflexion", "hip_height") | also,
        "thigh": select_figures("thigh", "hip_extension", *chain),
        "pelvis": select_figures("pelvis", "waist", "hip_extension"),
        "trunk": select_figures("trunk", "waist"),
    }


_ANGLES_OF: Final = _map_by_segment()
_OF_SENSOR: Final = _map_by_segment(TIMES | LENGTHS)
_OF_LEG: Final = dict.fromkeys(("shank", "foot"), frozenset(FIGURES))

_TOLD: Final[Mapping[Grade, frozenset[Reader]]] = {
    "information": frozenset({"page", "terminal", "json"}),
    "fault": frozenset({"page", "terminal", "json", "squad"}),
    "serious": frozenset({"page", "terminal", "json", "squad", "headline", "strict"}),
}


@dataclass(frozen=True)
class Policy:
    """What a kind of flag means.

    Parameters
    ----------
    grade : {"information", "fault", "serious"}
    withholds : frozenset of str
        Figures that are missing because of it: of a step where it is one of that step, else of the
        run. One that names a figure withholds that one.
    of_leg : frozenset of str
        Figures that are missing in the steps of the sensor's leg.
    doubts : mapping from str to frozenset of str
        By segment (shank, foot, thigh, pelvis, trunk) the figures that are there and not to be
        trusted, where it is one of the run as a whole: of the sensor's side, of both where it has
        none.
    check : {"note", "limit", "unfit"}
        What ``imuproc check`` makes of it in a log; of gaps and clipping their size decides.
    trial : {"note", "limit", "unfit"} or None
        What it makes of it where the method, tried on a run of thinned logs, raises it. None:
        nothing, as the logs themselves tell it better.
    of_others : bool
        Whether it is about a stretch of the log that gave no run, and says nothing against the
        runs that the log did give.
    """

    grade: Grade
    withholds: Figures = _NONE
    of_leg: Figures = _NONE
    doubts: Mapping[str, Figures] = field(default_factory=dict)
    check: Severity = "limit"
    trial: Severity | None = None
    of_others: bool = False

    @property
    def readers(self) -> frozenset[Reader]:
        """Who is told.

        ``page``, ``terminal`` and ``json`` list a run's flags; ``squad`` counts them where runs
        stand side by side; ``headline`` says before all else that a run is in trouble; ``strict``
        fails it.
        """
        told = _TOLD[self.grade]
        return told - {"headline"} if self.of_others else told


POLICY: Final[Mapping[str, Policy]] = {
    "no_standing": Policy("serious", withholds=ANGLES | LENGTHS, trial="limit"),
    "no_standing_before": Policy("fault", trial="limit"),
    "no_standing_after": Policy("fault", trial="note"),
    "standing_differs": Policy("fault", trial="limit"),
    "sensor_slipped": Policy("fault", trial="limit"),
    "mounting_sign_unsure": Policy("serious", doubts=_ANGLES_OF, trial="limit"),
    "gap": Policy("fault"),
    "low_rate": Policy("fault"),
    "rate_differs": Policy("serious", withholds=frozenset(FIGURES) - EVENTS, trial="unfit"),
    "irregular_stamps": Policy("fault"),
    "samples_dropped": Policy("fault"),
    "duplicate_stamps": Policy("fault", check="note"),
    "bad_stamps": Policy("fault"),
    "partly_covered": Policy("fault"),
    "log_cut_short": Policy("fault"),
    "stuck_channel": Policy("serious", doubts=_OF_SENSOR, check="unfit"),
    "samples_held": Policy("fault"),
    "spikes": Policy("fault"),
    "axes_disagree": Policy("serious", trial="unfit"),
    "gravity_off": Policy("fault"),
    "accel_clipped": Policy("fault"),
    "gyro_clipped": Policy("serious"),
    "gyro_zero_moved": Policy("fault", trial="limit"),
    "missing_foot": Policy("fault"),
    "missing_shank": Policy("fault"),
    "missing_leg": Policy("fault"),
    "sides_swapped": Policy("serious", doubts=_OF_LEG, trial="unfit"),
    "thigh_apart": Policy("fault", trial="limit"),
    "segments_swapped": Policy(
        "serious",
        withholds=LENGTHS,
        of_leg=frozenset(FIGURES) - EVENTS,
        doubts=_OF_LEG,
        trial="unfit",
    ),
    "clock_unsure": Policy("fault", trial="note"),
    "clock_separate": Policy("serious", trial="limit"),
    "clock_differs": Policy("serious", check="unfit", trial="unfit"),
    "outside_evidence": Policy("information"),
    "run_refused": Policy("serious", of_others=True),
    "step_missed": Policy("fault", withholds=TO_NEXT_STEP),
    "event_unsure": Policy("fault"),
    "implausible": Policy("serious"),
    "drift_large": Policy("serious"),
    "velocity_unsure": Policy("fault", withholds=LENGTHS),
    "distance_differs": Policy("fault"),
    "belt_speed_differs": Policy("fault"),
}

_UNKNOWN: Final = Policy("fault")
"""A flag of another version is a fault of which nothing more is known."""


def policy_of(name: str) -> Policy:
    """What a flag means, by its name."""
    return POLICY.get(name, _UNKNOWN)


def is_serious(name: str) -> bool:
    """Whether a flag says that figures may be wrong or are withheld."""
    return policy_of(name).grade == "serious"


def is_told(name: str, reader: Reader) -> bool:
    """Whether a reader is told of a flag."""
    return reader in policy_of(name).readers


def select_run_flags(flags: Iterable[RaisedFlag], reader: Reader) -> list[RaisedFlag]:
    """Flags of a run as a whole or of one of its sensors, of which a reader is told.

    Flags of single steps do not count: the figures that they name are withheld already, and the
    others stand.
    """
    return [flag for flag in flags if flag.step is None and is_told(flag.name, reader)]


def list_withheld_figures(flag: RaisedFlag) -> Figures:
    """Figures that are missing where a flag stands: in its step, or in its run."""
    if "figure" in flag.values:
        return frozenset({str(flag.values["figure"])})
    return policy_of(flag.name).withholds


def find_doubted_sides(flags: Iterable[RaisedFlag]) -> dict[str, frozenset[str]]:
    """By figure the sides on which it must not be trusted although it is in the table.

    Parameters
    ----------
    flags : iterable of RaisedFlag
        Of a run as a whole. One without a sensor concerns both sides.
    """
    out: dict[str, frozenset[str]] = {}
    for flag in flags:
        segment = flag.site.rpartition("_")[2]
        own = [side for side in SIDES if flag.site.startswith(side)]
        sides = frozenset(own or SIDES)
        for place, figures in policy_of(flag.name).doubts.items():
            if segment in ("", place) and sides:
                out |= {name: out.get(name, frozenset()) | sides for name in figures}
    return out
