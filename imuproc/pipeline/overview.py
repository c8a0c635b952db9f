"""First pass over a long log: every sensor thinned to what runs are found by.

Samples are averaged in bins of 10 ms on the log's own clock, which neither jitter nor gaps disturb,
and the same search as in a short log is made on them, a little more generous: what it finds is
looked at again at the full rate.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from imuproc.core.errors import RunError
from imuproc.core.recording import Interval, SensorLog
from imuproc.core.sites import Site
from imuproc.dsp.filters import find_finite_rows
from imuproc.events.progress import Track
from imuproc.events.runs import RunSettings, find_runs
from imuproc.files.settings_model import TRIED, StageSettings, number
from imuproc.pipeline.sources import LogSource, NotingCuts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STRAY_STAMPS = 7
"""Window of the running median that takes out up to three wrong stamps in a row."""


class LongSettings(StageSettings):
    """What is a long log, and how it is gone through."""

    longest_whole_samples: int = number(
        400_000,
        (1000, 100_000_000),
        "A recording with a log of more samples is gone through in pieces; also the most samples "
        "of a log that are worked on at a time, where one run is not longer.",
        "chosen: memory of a laptop",
    )
    piece_samples: int = number(
        50_000, (100, 10_000_000), "Samples read at a time.", "chosen: memory of a laptop"
    )
    bin_hz: float = number(100.0, (20.0, 1000.0), "Rate of the thinned signals.", TRIED)
    filled_bins: int = number(
        3, (0, 100), "So many empty bins in a row are filled from their neighbours.", unit="bins"
    )
    gap_s: float = number(10.0, (0.1, 3600.0), "After a longer gap the search begins anew.")
    set_back_s: float = number(
        1.0, (0.01, 3600.0), "A clock that runs backwards by more was set back: refused."
    )
    surroundings_s: float = number(
        70.0,
        (1.0, 7200.0),
        "Kept before and after a run: its quiet standing is looked for there.",
        "what calibration.standing.search_s asks for, and some more",
    )
    least_s: float = number(
        2.0, (0.1, 600.0), "A sensor that ran for less of what is kept is left out of it."
    )
    generous: float = number(
        0.07,
        (0.0, 0.5),
        "Share by which the limits of a run are widened in the first search.",
        TRIED,
        unit="",
    )
    generous_way: float = number(
        0.2,
        (0.0, 0.9),
        "The same for the least length of a stride, which thinned signals tell less well.",
        TRIED,
        unit="",
    )


@dataclass(frozen=True)
class Overview:
    """What the first pass tells.

    Parameters
    ----------
    candidates : tuple of Interval
        Stretches that may be runs, in order of time.
    rate_hz : float
        Samples per second of the fastest log.
    cut_short : mapping from Site to str
        What tells that a log ends too early.
    """

    candidates: tuple[Interval, ...]
    rate_hz: float
    cut_short: Mapping[Site, str] = field(default_factory=dict)


def look_over(source: LogSource, settings: LongSettings, runs: RunSettings) -> Overview:
    """Go through every log once and find what may be runs.

    Parameters
    ----------
    source : LogSource
    settings : LongSettings
    runs : RunSettings

    Returns
    -------
    Overview

    Raises
    ------
    RunError
        If the clock of a log was set back or restarted, or it has no usable stamps.
    """
    noting = NotingCuts(source)
    thinned = {site: thin(noting.pieces(site), settings) for site in noting.sites}
    tracks = {site: found for site, (found, _) in thinned.items()}
    rate_hz = max(rate for _, rate in thinned.values())
    candidates = find_runs(tracks, _loosen_limits(runs, settings))
    return Overview(candidates, rate_hz, noting.cut_short)


def _loosen_limits(runs: RunSettings, settings: LongSettings) -> RunSettings:
    """Limits that leave out nothing that the exact ones let pass."""
    low, high = 1.0 - settings.generous, 1.0 + settings.generous
    way = 1.0 - settings.generous_way
    wider = {
        "least_swing_radps": low * runs.least_swing_radps,
        "shortest_stride_s": low * runs.shortest_stride_s,
        "longest_stride_s": high * runs.longest_stride_s,
        "longest_pause_s": high * runs.longest_pause_s,
        "shortest_stride_m": way * runs.shortest_stride_m,
        "shank_stride_m": way * runs.shank_stride_m,
    }
    return runs.model_copy(update=wider)


def repair_stamps(time_s: FloatArray) -> FloatArray:
    """Stamps without the few that are missing or wrong, shape (n,); for finding a place in a log.

    Empty where no stamp is a number.
    """
    good = np.isfinite(time_s)
    if not good.any():
        return np.empty(0)
    row = np.arange(len(time_s))
    filled = time_s if good.all() else np.interp(row, row[good], time_s[good])
    if (np.diff(filled) >= 0.0).all():  # the usual case: the middle one is the median
        return filled
    half = _STRAY_STAMPS // 2
    around = sliding_window_view(np.pad(filled, half, mode="edge"), 2 * half + 1)
    return np.asarray(np.median(around, axis=1))


@dataclass(frozen=True)
class Window:
    """A part of a log to work on.

    Parameters
    ----------
    read : Interval
        What to read.
    own : Interval
        Runs whose middle lies in it count; windows' own parts meet half-way between runs and leave
        out nothing.
    """

    read: Interval
    own: Interval


@dataclass(frozen=True, eq=False)
class _Bins:
    """Sums of samples by bin: number of the first bin, counts (m,), sums (m, 6)."""

    first: int
    count: FloatArray
    total: FloatArray

    @property
    def end(self) -> int:
        return self.first + len(self.count)


def thin(pieces: Iterable[SensorLog], settings: LongSettings) -> tuple[tuple[Track, ...], float]:
    """One log as means over bins, parted at long gaps, and its rate in Hz.

    Parameters
    ----------
    pieces : iterable of SensorLog
        Successive pieces of one log.
    settings : LongSettings

    Returns
    -------
    tracks : tuple of Track
    rate_hz : float

    Raises
    ------
    RunError
        If the clock was set back or restarted, or there are no usable stamps.
    """
    found: list[_Bins] = []
    samples, last_s, where = 0, -np.inf, ""
    for piece in pieces:
        where = f"{piece.source} ({piece.site})"
        samples += len(piece.time_s)
        steady = repair_stamps(piece.time_s)
        if len(steady) == 0:
            continue
        _refuse_set_back(steady, last_s, where, settings.set_back_s)
        last_s = float(steady[-1])
        found += _sum_bins(piece, steady, settings)
    if not found:
        if np.isfinite(last_s):
            raise RunError(
                f"{where}: no sample has all its values, of {samples}. Check the columns that the "
                "layout names, and the word for missing values"
            )
        raise RunError(f"{where or 'a log'}: no usable time stamps in {samples} samples")
    tracks = tuple(_average_bins(own, settings) for own in _split_at_gaps(found, settings))
    filled_s = sum(float(np.count_nonzero(b.count)) for b in found) / settings.bin_hz
    return tracks, samples / filled_s


def _refuse_set_back(steady: FloatArray, last_s: float, where: str, most_s: float) -> None:
    steps = np.diff(steady, prepend=last_s)
    if steps.min() > -most_s:
        return
    at = int(np.argmin(steps))
    before = last_s if at == 0 else steady[at - 1]
    raise RunError(
        f"{where}: time runs backwards from {before:.10g} s to {steady[at]:.10g} s: the clock "
        "restarted or was set back. Split the log there into one log per part"
    )


def _sum_bins(piece: SensorLog, steady: FloatArray, settings: LongSettings) -> list[_Bins]:
    """Sums of a piece by bin, one for each stretch without a long gap."""
    values = np.concatenate((piece.gyro_radps, piece.accel_mps2), axis=1)
    good = find_finite_rows(values) & (np.abs(piece.time_s - steady) < 0.5 / settings.bin_hz)
    numbers = np.floor(piece.time_s[good] * settings.bin_hz).astype(np.int64)
    values = values[good]
    cuts = np.flatnonzero(np.abs(np.diff(numbers)) > settings.gap_s * settings.bin_hz) + 1
    out = []
    for part in np.split(np.arange(len(numbers)), cuts):
        if len(part) == 0:
            continue
        first = int(numbers[part].min())
        place = numbers[part] - first
        size = int(place.max()) + 1
        total = [np.bincount(place, values[part, axis], size) for axis in range(6)]
        out.append(
            _Bins(first, np.bincount(place, minlength=size).astype(float), np.stack(total, 1))
        )
    return out


def _split_at_gaps(found: list[_Bins], settings: LongSettings) -> list[list[_Bins]]:
    """Sums that belong together: no long gap between them."""
    parts = [[found[0]]]
    for bins in found[1:]:
        if bins.first - parts[-1][-1].end > settings.gap_s * settings.bin_hz:
            parts.append([])
        parts[-1].append(bins)
    return parts


def _average_bins(own: list[_Bins], settings: LongSettings) -> Track:
    """Means by bin; single empty bins filled from their neighbours."""
    first, end = min(bins.first for bins in own), max(bins.end for bins in own)
    count, total = np.zeros(end - first), np.zeros((end - first, 6))
    for bins in own:
        place = slice(bins.first - first, bins.end - first)
        count[place] += bins.count
        total[place] += bins.total
    known = np.flatnonzero(count)
    mean = total[known] / count[known, None]
    bins_s = np.arange(first, end)
    before = np.searchsorted(known, np.arange(end - first), side="right") - 1
    after = np.minimum(before + 1, len(known) - 1)
    hole = known[after] - known[before] - 1
    filled = np.stack(
        [np.interp(bins_s - first, known, mean[:, axis]) for axis in range(6)], axis=1
    )
    filled[(count == 0) & (hole > settings.filled_bins)] = np.nan
    time_s = np.asarray((bins_s + 0.5) / settings.bin_hz, dtype=np.float64)
    return Track(time_s, settings.bin_hz, filled[:, :3], filled[:, 3:])


def list_windows(overview: Overview, settings: LongSettings) -> tuple[Window, ...]:
    """Parts of a log to work on at a time: runs near each other share one.

    Parameters
    ----------
    overview : Overview
    settings : LongSettings

    Returns
    -------
    tuple of Window
        In order of time; what is read for two of them may overlap.
    """
    around, most_s = settings.surroundings_s, settings.longest_whole_samples / overview.rate_hz
    groups: list[list[Interval]] = []
    for run in overview.candidates:
        near = groups and run.start_s - groups[-1][-1].end_s < 2.0 * around
        if near and run.end_s - groups[-1][0].start_s + 2.0 * around <= most_s:
            groups[-1].append(run)
        else:
            groups.append([run])
    edges = [0.5 * (a[-1].end_s + b[0].start_s) for a, b in pairwise(groups)]
    return tuple(
        Window(
            Interval(group[0].start_s - around, group[-1].end_s + around), Interval(start_s, end_s)
        )
        for group, start_s, end_s in zip(
            groups, [-np.inf, *edges], [*edges, np.inf], strict=bool(groups)
        )
    )
