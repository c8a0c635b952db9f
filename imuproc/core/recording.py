"""The nouns that come out of readers and conditioning: logs, recordings, sessions' people."""

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from imuproc.core.clocks import Clocks
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.sites import Site

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

Start = Literal["blocks", "three-point", "crouch", "standing", "rolling"]
Surface = Literal["track", "turf", "grass", "treadmill", "other"]
Clock = Literal["shared", "jump", "separate"]


@dataclass(frozen=True, eq=False)
class SensorLog:
    """What one sensor logged, in SI units and in the sensor's own axes.

    Parameters
    ----------
    site : Site
        Where the sensor sat.
    time_s : ndarray, shape (n,)
        The log's own stamps in s, as its time column counts them; not yet regular.
    accel_mps2 : ndarray, shape (n, 3)
        Specific force (an accelerometer at rest reads +g upwards) in m/s².
    gyro_radps : ndarray, shape (n, 3)
        Angular velocity in rad/s, right-handed.
    source : str
        The log's path as the session file names it.
    accel_range_mps2, gyro_range_radps : float or None
        Full scale of the sensor where the layout or the log states it.
    zero_at : datetime or None
        Instant at which ``time_s`` counts 0, with its zone where that is known; None where
        nothing states it.
    cut_short : str
        What tells that the log ends too early, as after a power loss, and where; empty where
        nothing does. Of a log in pieces the last one knows.
    """

    site: Site
    time_s: FloatArray
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    source: str
    accel_range_mps2: float | None = None
    gyro_range_radps: float | None = None
    zero_at: datetime.datetime | None = None
    cut_short: str = ""

    def take(self, rows: slice | NDArray[Any]) -> "SensorLog":
        """Samples picked by a slice (as views), a boolean mask or indices."""
        return replace(
            self,
            time_s=self.time_s[rows],
            accel_mps2=self.accel_mps2[rows],
            gyro_radps=self.gyro_radps[rows],
        )


def join_logs(pieces: Iterable[SensorLog]) -> SensorLog:
    """One log from its consecutive pieces, of which there is at least one."""
    logs = list(pieces)
    if len(logs) == 1:
        return logs[0]
    return replace(
        logs[0],
        time_s=np.concatenate([log.time_s for log in logs]),
        accel_mps2=np.concatenate([log.accel_mps2 for log in logs]),
        gyro_radps=np.concatenate([log.gyro_radps for log in logs]),
        cut_short=logs[-1].cut_short,
    )


@dataclass(frozen=True, eq=False)
class Conditioned:
    """One sensor's signals on the recording's common clock, in the segment's own axes.

    Segment axes: x forward, y left, z up while the athlete stands quietly. Gyroscope bias from
    standing is removed.

    Parameters
    ----------
    site : Site
    accel_mps2 : ndarray, shape (n, 3)
        Specific force in m/s², segment axes.
    gyro_radps : ndarray, shape (n, 3)
        Angular velocity in rad/s, segment axes.
    measured : ndarray of bool, shape (n,)
        False where a gap was bridged or the sensor was not running.
    accel_clipped, gyro_clipped : ndarray of bool, shape (n,)
        True where the sensor was at the end of its range.
    calibration : Calibration
        How the segment axes were found and how well they are known.
    gyro_hidden_radps : ndarray, shape (n,), or None
        Standard uncertainty of the angular velocity where it was clipped, 0 elsewhere; None where
        nothing was.
    turning : ndarray of bool, shape (n,), or None
        True where the sensor may have been turning on its limb; None where it never was.
    """

    site: Site
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    measured: BoolArray
    accel_clipped: BoolArray
    gyro_clipped: BoolArray
    calibration: "Calibration"
    gyro_hidden_radps: FloatArray | None = None
    turning: BoolArray | None = None

    def compute_hidden_rate_radps(self) -> FloatArray:
        """What each sample of the gyroscope may hide by clipping, shape (n,)."""
        nothing = np.zeros(len(self.gyro_clipped))
        return nothing if self.gyro_hidden_radps is None else self.gyro_hidden_radps


@dataclass(frozen=True)
class Interval:
    """An interval of time on the recording's clock, in s."""

    start_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        """Length in s."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Slip:
    """A sensor that turned on its limb.

    Parameters
    ----------
    start_s, end_s : float
        It turned some time in between, in s.
    in_run : bool
        Whether that was between the first contact and the last one.
    turn_rad : tuple of float
        Rotation vector in rad that turns its signals back to what they were before, sensor axes.
    """

    start_s: float
    end_s: float
    in_run: bool
    turn_rad: tuple[float, float, float]

    @property
    def angle_rad(self) -> float:
        """How far it turned in rad."""
        return float(np.linalg.norm(self.turn_rad))

    @property
    def span(self) -> Interval:
        """When it turned."""
        return Interval(self.start_s, self.end_s)


@dataclass(frozen=True, eq=False)
class Calibration:
    """How one sensor's segment axes were found.

    Parameters
    ----------
    segment_from_sensor : ndarray, shape (3, 3)
        Turns sensor axes into segment axes.
    gyro_bias_radps : ndarray, shape (3,)
        Removed bias in rad/s, sensor axes.
    gyro_bias_u_radps : float
        Its standard uncertainty in rad/s.
    still_before, still_after : Interval or None
        Quiet standing before and after the run.
    axis_u_rad : float
        Standard uncertainty of the mediolateral axis about the vertical, in rad.
    vertical_known : bool
        False when there was no quiet standing: angles are then withheld.
    rests : tuple of Interval
        Every rest of this sensor, standing or not (the set position is one).
    zero_moved_radps : float
        How far the gyroscope's zero is another after the run than before it; 0 where sway may
        explain it.
    slip_u_rad : float
        What a sensor that may have turned on its limb adds to the standard uncertainty of angles.
    up_after : tuple of float, or None
        Direction of gravity in quiet standing after the run, segment axes; None without standing
        on both sides.
    slip : Slip or None
        A turn on the limb that was taken out of the signals.
    """

    segment_from_sensor: FloatArray
    gyro_bias_radps: FloatArray
    gyro_bias_u_radps: float
    still_before: Interval | None
    still_after: Interval | None
    axis_u_rad: float
    vertical_known: bool
    rests: tuple[Interval, ...] = ()
    zero_moved_radps: float = 0.0
    slip_u_rad: float = 0.0
    up_after: tuple[float, float, float] | None = None
    slip: Slip | None = None


@dataclass(frozen=True)
class Athlete:
    """Who ran: a code, never a name. Lengths in m, lean in deg."""

    id: str
    stature_m: float | None = None
    shank_length_m: float | None = None
    foot_length_m: float | None = None
    standing_lean_deg: float = 0.0
    birth_year: int | None = None
    group: str | None = None
    targets: str | None = None
    note: str | None = None
    thigh_length_m: float | None = None


@dataclass(frozen=True)
class Run:
    """What was run, as the session file states it."""

    id: str
    start: Start = "standing"
    distance_m: float | None = None
    clock: Clock = "shared"
    surface: Surface = "track"
    belt_speed_mps: float | None = None
    curve_radius_m: float | None = None
    note: str | None = None


@dataclass(frozen=True, eq=False)
class Recording:
    """All sensor logs of one run (or of one long log), as read.

    Parameters
    ----------
    session : str
        Session id.
    athlete : Athlete
    run : Run
    logs : mapping from Site to SensorLog
        In the order in which the run names them; the first one sets the clock.
    gravity_mps2 : float
        Local gravity in m/s².
    flags : tuple of RaisedFlag
    history : tuple of HistoryEntry
    clocks : Clocks
        How well the stamps of its logs are known against each other.
    """

    session: str
    athlete: Athlete
    run: Run
    logs: Mapping[Site, SensorLog]
    gravity_mps2: float = 9.80665
    flags: tuple[RaisedFlag, ...] = ()
    history: tuple[HistoryEntry, ...] = ()
    clocks: Clocks = field(default_factory=Clocks)


@dataclass(frozen=True, eq=False)
class ConditionedRecording:
    """A recording on one regular clock and in segment axes.

    Parameters
    ----------
    recording : Recording
        Where it came from (session, athlete, run, gravity).
    time_s : ndarray, shape (n,)
        The common regular clock in s, counted as the first log counts.
    rate_hz : float
        Its rate.
    segments : mapping from Site to Conditioned
    flags, history : tuple
    """

    recording: Recording
    time_s: FloatArray
    rate_hz: float
    segments: Mapping[Site, Conditioned]
    flags: tuple[RaisedFlag, ...] = ()
    history: tuple[HistoryEntry, ...] = field(default=())

    def find_measured(self) -> dict[Site, BoolArray]:
        """Where each sensor was measured."""
        return {site: segment.measured for site, segment in self.segments.items()}
