"""What a check says: figures of each sensor, reasons in sentences, a plain verdict."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import nan
from typing import Final, Literal

from imuproc.core.flag_policy import Severity
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval
from imuproc.core.sites import Site
from imuproc.dsp.allan import AllanReading

Verdict = Literal["fit", "fit with limits", "not fit"]
StillKind = Literal["lying", "worn", "unsure", "none"]

_NO_VECTOR: Final = (nan, nan, nan)


@dataclass(frozen=True)
class Reason:
    """Why a verdict is not better, or something worth knowing.

    Parameters
    ----------
    severity : {"note", "limit", "unfit"}
    text : str
        What is so, where and how much: a sentence.
    advice : str
        What to do about it; may be empty.
    flag : RaisedFlag or None
        The same trouble as data, by the name that it has in processing; None where it has none.
    """

    severity: Severity
    text: str
    advice: str = ""
    flag: RaisedFlag | None = None

    @property
    def flag_name(self) -> str:
        """Name of the flag; empty where there is none."""
        return self.flag.name if self.flag else ""

    @property
    def samples(self) -> int:
        """How many samples it concerns: of reasons that are alike the one of most is the worst."""
        return int(self.flag.values.get("samples", 0)) if self.flag else 0


def reach_verdict(reasons: Iterable[Reason]) -> Verdict:
    """The verdict that the worst of some reasons leaves."""
    severities = {reason.severity for reason in reasons}
    if "unfit" in severities:
        return "not fit"
    return "fit with limits" if "limit" in severities else "fit"


def find_worst_verdict(verdicts: Iterable[Verdict]) -> Verdict:
    """The worst of some verdicts; ``fit`` where there is none."""
    order: tuple[Verdict, ...] = ("fit", "fit with limits", "not fit")
    return max(verdicts, key=order.index, default="fit")


@dataclass(frozen=True)
class Sampling:
    """How a log was sampled.

    Parameters
    ----------
    samples : int
        Rows of the log.
    start_s, end_s : float
        First and last usable stamp, as the log counts.
    rate_hz : float
        From the stamps.
    stated_rate_hz : float
        From the layout, where the log has no time column; then nothing tells the true one.
    jitter_share : float
        Standard deviation of the steps between stamps as a share of the sampling period.
    gaps : int
    missing : int
        Samples missing in gaps, without a value, or with that of the one before in their place.
    longest_gap_s, longest_gap_at_s : float
    duplicates : int
        Samples that carry the stamp of the one before.
    """

    samples: int = 0
    start_s: float = nan
    end_s: float = nan
    rate_hz: float = nan
    stated_rate_hz: float = nan
    jitter_share: float = nan
    gaps: int = 0
    missing: int = 0
    longest_gap_s: float = nan
    longest_gap_at_s: float = nan
    duplicates: int = 0

    @property
    def duration_s(self) -> float:
        """From the first stamp to the last, in s."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Range:
    """How far a sensor was driven, in SI units.

    Parameters
    ----------
    full_scale : float
        As the layout states it; NaN where it does not.
    largest : float
        Largest reading of any axis.
    at_end : int
        Samples at the end of the range: of the stated one, or of a flat top where none is stated.
    first_at_end_s : float
    """

    full_scale: float = nan
    largest: float = nan
    at_end: int = 0
    first_at_end_s: float = nan

    @property
    def head_room_share(self) -> float:
        """Share of the range that was never used; NaN where the range is not stated."""
        return 1.0 - self.largest / self.full_scale


@dataclass(frozen=True)
class Stillness:
    """What a sensor reads at rest, in SI units and sensor axes.

    Parameters
    ----------
    kind : {"lying", "worn", "unsure", "none"}
        What kind of stillness there is: a sensor that lies, one on a body that sways, too short to
        tell, or no stillness at all.
    intervals : tuple of Interval
        When it was still.
    still_s : float
        Their sum.
    gravity_mps2 : float
        Size of the specific force.
    up : tuple of float
        Its direction, the sensor's axis that points up.
    gyro_noise_radps_rthz, accel_noise_mps2_rthz : float
        White noise N of the worst axis, from 15 to 45 Hz, where bodies hardly move.
    gyro_bias_radps : tuple of float
    gyro_bias_change_radps : float
        Largest difference between still intervals, of any axis.
    gyro_allan, accel_allan : AllanReading
        Largest coefficients of the three axes, from the longest interval of lying still.
    """

    kind: StillKind = "none"
    intervals: tuple[Interval, ...] = ()
    still_s: float = 0.0
    gravity_mps2: float = nan
    up: tuple[float, float, float] = _NO_VECTOR
    gyro_noise_radps_rthz: float = nan
    accel_noise_mps2_rthz: float = nan
    gyro_bias_radps: tuple[float, float, float] = _NO_VECTOR
    gyro_bias_change_radps: float = nan
    gyro_allan: AllanReading = field(default_factory=AllanReading)
    accel_allan: AllanReading = field(default_factory=AllanReading)


@dataclass(frozen=True)
class Clock:
    """A sensor's clock against that of another sensor.

    Parameters
    ----------
    against : Site or None
        The other sensor; None where nothing could be compared.
    offset_s, offset_u_s : float
        Stamp of this sensor minus that of the other at the same instant, and its standard
        uncertainty.
    drift_ppm, drift_u_ppm : float
    basis : str
        What it was read from.
    """

    against: Site | None = None
    offset_s: float = nan
    offset_u_s: float = nan
    drift_ppm: float = nan
    drift_u_ppm: float = nan
    basis: str = ""


@dataclass(frozen=True)
class SensorCheck:
    """Everything about one sensor.

    Parameters
    ----------
    site : Site
    source : str
        The log's path as the session file names it.
    sampling : Sampling
    accel, gyro : Range
    still : Stillness
    standing_differs_rad : float
        Largest angle between gravity in standing before and after a run.
    clock : Clock
    reasons : tuple of Reason
        Worst first.
    """

    site: Site
    source: str
    sampling: Sampling = field(default_factory=Sampling)
    accel: Range = field(default_factory=Range)
    gyro: Range = field(default_factory=Range)
    still: Stillness = field(default_factory=Stillness)
    standing_differs_rad: float = nan
    clock: Clock = field(default_factory=Clock)
    reasons: tuple[Reason, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """``fit``, ``fit with limits`` or ``not fit``."""
        return reach_verdict(self.reasons)


@dataclass(frozen=True)
class CheckReport:
    """The check of one recording.

    Parameters
    ----------
    run, athlete : str
        Ids.
    runs : tuple of Interval
        Stretches of running, on the clock of the first log; empty before a session.
    sensors : tuple of SensorCheck
        In the order in which the run names them.
    reasons : tuple of Reason
        What concerns the sensors together.
    """

    run: str
    athlete: str
    runs: tuple[Interval, ...]
    sensors: tuple[SensorCheck, ...]
    reasons: tuple[Reason, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """That of the worst sensor, or of what concerns them together."""
        own = [reason for sensor in self.sensors for reason in sensor.reasons]
        return reach_verdict([*self.reasons, *own])
