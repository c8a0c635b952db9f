"""One pass over a log, piece by piece: what is kept of it does not depend on its values' number."""

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from math import nan

import numpy as np
from numpy.typing import NDArray

from imuproc.checks.findings import Range
from imuproc.checks.settings import CheckSettings
from imuproc.conditioning.samples.artefacts import remove_artefacts
from imuproc.conditioning.samples.clipping import RangeSettings, find_clipped_samples
from imuproc.conditioning.sanity import compute_least_rate_hz
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import SensorLog
from imuproc.dsp.filters import find_finite_rows
from imuproc.events.progress import Track
from imuproc.pipeline.overview import LongSettings, thin

FloatArray = NDArray[np.float64]

_SLOW_LOG_HZ = 95.0
"""A slower log is thinned to :data:`_SLOW_BIN_HZ`; chosen: just below the usual bins of 100 Hz."""
_SLOW_BIN_HZ = 50.0
"""Rate of a slow log's thinned signals: with bins of 100 Hz some would be empty."""


@dataclass(frozen=True, eq=False)
class Scan:
    """What one pass keeps of a log.

    Parameters
    ----------
    log : SensorLog
        Without samples: site, source, ranges, and whether it is cut short.
    time_s : ndarray, shape (n,)
        Stamps, but those of exact copies of the sample before.
    samples : int
        Rows of the log.
    copies, missing : int
        Exact copies, and rows without a value.
    accel, gyro : Range
    artefacts : tuple of RaisedFlag
    tracks : tuple of Track
        Signals thinned to about 100 Hz.
    """

    log: SensorLog
    time_s: FloatArray
    samples: int
    copies: int
    missing: int
    accel: Range
    gyro: Range
    artefacts: tuple[RaisedFlag, ...]
    tracks: tuple[Track, ...]

    @property
    def repeated(self) -> int:
        """Samples that only repeat the one before and stand for others (sample and hold)."""
        repeated = [flag for flag in self.artefacts if flag.name == "samples_held"]
        return sum(int(flag.values["samples"]) for flag in repeated)

    @property
    def longest(self) -> Track:
        """The longest track: signals without a long gap."""
        return max(self.tracks, key=lambda track: len(track.time_s))


def scan_log(pieces: Iterable[SensorLog], settings: CheckSettings) -> Scan:
    """Go through a log once.

    Parameters
    ----------
    pieces : iterable of SensorLog
        Successive pieces of one log; at least one.
    settings : CheckSettings

    Returns
    -------
    Scan

    Raises
    ------
    LogError
        If a piece cannot be read.
    RunError
        If the log has no usable stamps, or its clock was set back.
    """
    tally = _Tally(settings)
    source = iter(pieces)
    first = next(source)
    long = LongSettings(piece_samples=settings.piece_samples)
    if _estimate_rate_hz(first.time_s) < _SLOW_LOG_HZ:
        long = LongSettings(piece_samples=settings.piece_samples, bin_hz=_SLOW_BIN_HZ)
    tracks, _ = thin(tally.watch_pieces(first, source), long)
    return Scan(
        log=replace(_drop_samples(first), cut_short=tally.cut_short),
        time_s=np.concatenate(tally.stamps),
        samples=tally.samples,
        copies=tally.copies,
        missing=tally.missing,
        accel=tally.accel.to_range(first.accel_range_mps2),
        gyro=tally.gyro.to_range(first.gyro_range_radps),
        artefacts=tally.list_artefacts(),
        tracks=tracks,
    )


def _estimate_rate_hz(time_s: FloatArray) -> float:
    """Rate over the first stamps; infinite where they do not tell."""
    good = time_s[np.isfinite(time_s)]
    span = float(good[-1] - good[0]) if len(good) > 1 else 0.0
    return (len(good) - 1) / span if span > 0.0 else np.inf


def _drop_samples(log: SensorLog) -> SensorLog:
    none = np.empty((0, 3))
    return SensorLog(
        log.site,
        np.empty(0),
        none,
        none,
        log.source,
        log.accel_range_mps2,
        log.gyro_range_radps,
    )


@dataclass
class _Peaks:
    """Largest readings of one kind of sensor, and samples at the end of its range."""

    least_range: float
    settings: RangeSettings
    largest: float = nan
    size: list[FloatArray] = field(default_factory=list)
    time_s: list[FloatArray] = field(default_factory=list)

    def add_piece(self, time_s: FloatArray, values: FloatArray, full_scale: float | None) -> None:
        size = np.nan_to_num(np.abs(values)).max(axis=1, initial=0.0)
        clipped = find_clipped_samples(values, full_scale, self.least_range, self.settings)
        self.largest = float(np.fmax(self.largest, size.max(initial=0.0)))
        self.size.append(size[clipped])
        self.time_s.append(time_s[clipped])

    def to_range(self, full_scale: float | None) -> Range:
        """A flat top of a piece that the whole log goes beyond is no end of a range."""
        size, time_s = np.concatenate(self.size), np.concatenate(self.time_s)
        largest = min(self.largest, full_scale or np.inf)
        at_end = size >= self.settings.near_end_share * largest
        first_s = float(time_s[at_end][0]) if at_end.any() else nan
        return Range(full_scale or nan, self.largest, int(np.count_nonzero(at_end)), first_s)


class _Tally:
    """Sums over the pieces of a log while they go by."""

    def __init__(self, settings: CheckSettings) -> None:
        self._settings = settings
        self._last: FloatArray | None = None
        self._flags: dict[Hashable, RaisedFlag] = {}
        self.stamps: list[FloatArray] = []
        self.samples = self.copies = self.missing = 0
        self.cut_short = ""
        ranges = settings.method.timebase.range
        self.accel = _Peaks(ranges.least_accel_range_mps2, ranges)
        self.gyro = _Peaks(ranges.least_gyro_range_radps, ranges)

    def watch_pieces(self, first: SensorLog, others: Iterator[SensorLog]) -> Iterator[SensorLog]:
        """The pieces, without artefacts, as they are asked for."""
        yield self._add_piece(first)
        for piece in others:
            yield self._add_piece(piece)

    def list_artefacts(self) -> tuple[RaisedFlag, ...]:
        return tuple(self._flags.values())

    def _add_piece(self, piece: SensorLog) -> SensorLog:
        values = np.column_stack((piece.time_s, piece.accel_mps2, piece.gyro_radps))
        self.samples += len(values)
        self.cut_short = piece.cut_short
        before = values[:1] * nan if self._last is None else self._last
        copy = (np.diff(values, axis=0, prepend=before) == 0.0).all(axis=1)
        if len(values):
            self._last = values[-1:]
        self.copies += int(np.count_nonzero(copy))
        self.stamps.append(piece.time_s[~copy])
        nothing = np.abs(piece.accel_mps2).sum(axis=1) == 0.0
        self.missing += int(np.count_nonzero((~find_finite_rows(values[:, 1:]) | nothing) & ~copy))
        self.accel.add_piece(piece.time_s, piece.accel_mps2, piece.accel_range_mps2)
        self.gyro.add_piece(piece.time_s, piece.gyro_radps, piece.gyro_range_radps)
        sanity = self._settings.method.sanity
        cleaned, flags = remove_artefacts(piece, sanity.artefacts, compute_least_rate_hz(sanity))
        for flag in flags:
            self._add_flag(flag)
        return cleaned

    def _add_flag(self, flag: RaisedFlag) -> None:
        """Add the flag of a piece to that of the pieces before it."""
        earlier = self._flags.get(flag.kind)
        self._flags[flag.kind] = flag if earlier is None else earlier.join(flag)
