"""Repair of one log's time stamps: what cannot be used is dropped and said, never guessed."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.marking import mark_samples
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import SensorLog
from imuproc.core.words import format_count
from imuproc.dsp.filters import choose_odd_width, moving_mean
from imuproc.dsp.medians import median
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

_SMALL_GRID_SAMPLES: Final = 1_000_000
"""A grid of so few samples is no matter of memory, however empty it is."""
_EVENED_AT_LEAST_SAMPLES: Final = 51
"""Fewer samples do not tell how evenly they were taken."""


class StampSettings(StageSettings):
    """How time stamps are judged."""

    max_stray_stamps: int = number(
        3,
        (0, 20),
        "Longest run of wrong stamps that is dropped; after a longer one the clock itself is "
        "wrong.",
        unit="samples",
    )
    stray_gap_s: float = number(
        10.0, (0.1, 3600.0), "So few samples this far before or after all others have wrong stamps."
    )
    gap_periods: float = number(
        1.5,
        (1.05, 10.0),
        "A step between stamps longer than this is a gap (where stamps jitter a lot: longer than "
        "a period and three standard deviations).",
        unit="sampling periods",
    )
    jitter_share: float = number(
        0.1,
        (0.001, 1.0),
        "Standard deviation of the steps, as a share of the sampling period, that is flagged.",
    )
    most_disorder_share: float = number(
        0.01, (0.0, 0.5), "A log is refused where time runs backwards at more of its samples."
    )
    most_burst_ratio: float = number(
        3.0,
        (1.1, 100.0),
        "A log is refused where the mean step is longer than the middle one by this factor: its "
        "stamps tell when samples arrived in bursts, not when they were taken.",
    )
    least_bursts_share: float = number(
        0.03, (0.0, 1.0), "Share of long steps from which on they count as bursts, not as gaps."
    )
    most_empty_ratio: float = number(
        20.0,
        (1.0, 10_000.0),
        "A log is refused where its time has room for more samples than it holds by this factor.",
    )
    evened_over_s: float = number(
        2.0,
        (0.1, 60.0),
        "Stamps that err are evened over so much time. A crystal runs evenly over seconds; what "
        "its stamps still err after that adds up in angles.",
    )
    smoother_ratio: float = number(
        0.85,
        (0.1, 1.0),
        "Stamps are evened where that makes the signal smoother by this factor. Stamps that err "
        "make a smooth signal rough; where samples were really taken unevenly, evening does.",
    )


@dataclass(frozen=True, eq=False)
class Stamps:
    """Usable stamps of one log.

    Parameters
    ----------
    row : ndarray of int, shape (k,)
        Rows of the log that they belong to.
    time_s : ndarray, shape (k,)
        Strictly increasing, in s as the log counts.
    period_s : float
        Nominal sampling period in s.
    gap_s : float
        A longer step between stamps is a gap.
    flags : tuple of RaisedFlag
    """

    row: IntArray
    time_s: FloatArray
    period_s: float
    gap_s: float
    flags: tuple[RaisedFlag, ...]


def repair_stamps(log: SensorLog, settings: StampSettings) -> Stamps:
    """Strictly increasing stamps of a log, and its nominal period.

    Stamps that are not numbers, a few that run backwards and a few far away from all others are
    dropped with their samples; samples with the same stamp are spread evenly up to the next stamp
    (exact copies are dropped).

    Parameters
    ----------
    log : SensorLog
    settings : StampSettings

    Returns
    -------
    Stamps

    Raises
    ------
    RunError
        If fewer than two stamps are usable, the clock restarts or is set back, the stamps are in
        no order, come in bursts, or leap so far that almost nothing was measured.
    """
    where = f"{log.source} ({log.site})"
    row = np.flatnonzero(np.isfinite(log.time_s)).astype(np.intp)
    if len(row):
        row = _drop_backward(log.time_s, row, where, settings)
        row = _drop_stray_ends(log.time_s, row, settings)
    flags = _list_unusable_flags(log, row)
    row, time_s, shared = _spread_duplicates(log, row, settings.gap_periods)
    if len(row) < 2:
        raise RunError(
            f"{where}: fewer than two usable time stamps in "
            f"{format_count(len(log.time_s), 'sample')}; check the time column and its unit"
        )
    period_s = _measure_period_s(time_s, where, settings)
    _refuse_leap(time_s, period_s, where, settings.most_empty_ratio)
    if shared.any():
        marks = mark_samples(log.time_s, shared)
        flags.append(RaisedFlag.from_marks("duplicate_stamps", marks, log.site))
    steps = np.diff(time_s)
    spread = float(np.std(steps[steps <= settings.gap_periods * period_s])) / period_s
    if spread > settings.jitter_share:
        spread_pct, evened = 100.0 * spread, False
        # By the middle half of the steps: the spread above leaves out those that are far too long.
        rough = float(np.subtract(*np.percentile(steps, [75, 25]))) / 1.35 / period_s
        gap_s = (1.0 + 9.0 * max(spread, rough)) * period_s
        even_s = _even_stamps(time_s, gap_s, settings.evened_over_s)
        gyro = log.gyro_radps[row]
        if _measure_roughness(even_s, gyro) < settings.smoother_ratio * _measure_roughness(
            time_s, gyro
        ):
            time_s, spread = even_s, 0.0
            period_s = _measure_period_s(even_s, where, settings)
            evened = True
        values = {"spread_pct": spread_pct, "evened": evened}
        flags.append(RaisedFlag("irregular_stamps", values, log.site))
    gap_s = max(settings.gap_periods, 1.0 + 3.0 * spread) * period_s
    return Stamps(row, time_s, period_s, gap_s, tuple(flags))


def _list_unusable_flags(log: SensorLog, row: IntArray) -> list[RaisedFlag]:
    """Flags for samples that are not in the rows kept; where they lie, those beside them tell."""
    known = np.isfinite(log.time_s)
    out_of_place = known.copy()
    out_of_place[row] = False
    flags = []
    for mask, why in ((~known, "without a stamp"), (out_of_place, "with a stamp out of place")):
        if mask.any() and len(row):
            time_s = np.interp(np.arange(len(mask)), row, log.time_s[row])
            marks = mark_samples(time_s, mask)
            flags.append(RaisedFlag.from_marks("bad_stamps", marks, log.site, {"why": why}))
    return flags


def _even_stamps(time_s: FloatArray, gap_s: float, over_s: float) -> FloatArray:
    """Stamps evened over some time within each part without a gap: as if by one clock."""
    out = time_s.copy()
    width = choose_odd_width(over_s, (len(time_s) - 1) / (time_s[-1] - time_s[0]))
    edges = np.concatenate(([0], np.flatnonzero(np.diff(time_s) > gap_s) + 1, [len(time_s)]))
    for first, after in pairwise(edges):  # over parts, not samples
        own = time_s[first:after]
        if len(own) < _EVENED_AT_LEAST_SAMPLES:
            continue
        line_s = np.linspace(own[0], own[-1], len(own))
        off_s = moving_mean(own - line_s, max(width, _EVENED_AT_LEAST_SAMPLES))
        out[first:after] = line_s + off_s
    return out if np.all(np.diff(out) > 0.0) else time_s


def _measure_roughness(time_s: FloatArray, values: FloatArray) -> float:
    """Mean distance of each sample from the straight line between its neighbours."""
    share = (time_s[1:-1] - time_s[:-2]) / (time_s[2:] - time_s[:-2])
    line = values[:-2] + share[:, None] * (values[2:] - values[:-2])
    return float(np.nanmean(np.abs(values[1:-1] - line)))


def _drop_backward(
    time_s: FloatArray, row: IntArray, where: str, settings: StampSettings
) -> IntArray:
    """Rows without the few stamps that break the order; RunError when the clock itself did."""
    most = settings.max_stray_stamps
    steps = np.diff(time_s[row])
    allowed = max(most, int(settings.most_disorder_share * len(row)))
    if np.count_nonzero(steps < 0.0) > allowed:
        raise RunError(
            f"{where}: time runs backwards at {np.count_nonzero(steps < 0.0)} of {len(row)} "
            "samples; check that the time column is the right one and write the samples in the "
            "order in which they were taken"
        )
    forward = steps[steps > 0.0]
    period_s = float(median(forward)) if len(forward) else 0.0
    for _ in range(most + 1):
        times = time_s[row]
        jumps = np.flatnonzero(np.diff(times) < 0.0)
        if len(jumps) == 0:
            return row
        wrong = np.zeros(len(row), dtype=bool)
        for jump in jumps:
            wrong[_find_stray_part(times, int(jump), most, period_s)] = True
        if not wrong.any():
            break
        row = row[~wrong]
    jumps = np.flatnonzero(np.diff(time_s[row]) < 0.0)
    if len(jumps) == 0:
        return row
    at = int(jumps[0])
    before, after = time_s[row[at]], time_s[row[at + 1]]
    raise RunError(
        f"{where}: time runs backwards at sample {row[at + 1] + 1}, from {before:.10g} s to "
        f"{after:.10g} s: the clock restarted or was set back. Split the log there into one log "
        "per part, and name the part that holds the run"
    )


def _find_stray_part(time_s: FloatArray, jump: int, most: int, period_s: float) -> slice:
    """The few stamps to leave out so that time runs on over a backward step; empty if none do.

    What is left must also leave about the time that the dropped samples took: else the clock was
    set back, and every later stamp is wrong.
    """
    n = len(time_s)
    for count in range(1, most + 1):
        need_s = 0.5 * (count + 1) * period_s
        follower, leader = jump + count + 1, jump - count
        if follower >= n or time_s[follower] - time_s[jump] >= need_s:
            return slice(jump + 1, follower)
        if leader < 0 or time_s[jump + 1] - time_s[leader] >= need_s:
            return slice(leader + 1, jump + 1)
    return slice(0, 0)


def _drop_stray_ends(time_s: FloatArray, row: IntArray, settings: StampSettings) -> IntArray:
    """Rows without a few samples at either end whose stamps lie far from all others."""
    most = settings.max_stray_stamps
    far = np.flatnonzero(np.diff(time_s[row]) > settings.stray_gap_s)
    if len(row) <= 4 * most:
        return row
    first = [int(i) + 1 for i in far if i < most]
    last = [int(i) + 1 for i in far if i >= len(row) - 1 - most]
    return row[(first[-1] if first else 0) : (last[0] if last else len(row))]


def _spread_duplicates(
    log: SensorLog, row: IntArray, gap_periods: float
) -> tuple[IntArray, FloatArray, BoolArray]:
    """Rows and strictly increasing times; which samples of the log shared a stamp."""
    time_s = log.time_s[row].astype(np.float64)
    same = np.diff(time_s, prepend=-np.inf) == 0.0
    shared = np.zeros(len(log.time_s), dtype=bool)
    shared[row] = same
    if not same.any():
        return row, time_s, shared
    values = np.concatenate((log.accel_mps2[row], log.gyro_radps[row]), axis=1)
    copy = same & np.concatenate(([False], (np.diff(values, axis=0) == 0.0).all(axis=1)))
    row, time_s, same = row[~copy], time_s[~copy], same[~copy]
    start = np.flatnonzero(~same)
    size = np.diff(start, append=len(row))
    if len(start) < 2:
        return row[start], time_s[start], shared
    step_s = np.diff(time_s[start]) / size[:-1]
    typical_s = float(median(step_s))
    # Before a gap the next stamp is far away: the samples were still taken one after the other.
    step_s = np.append(np.where(step_s > gap_periods * typical_s, typical_s, step_s), typical_s)
    place = np.arange(len(row)) - np.repeat(start, size)
    return row, time_s + place * np.repeat(step_s, size), shared


def _measure_period_s(time_s: FloatArray, where: str, settings: StampSettings) -> float:
    """Mean of the steps within half of their median: neither gaps nor rounding shift it."""
    steps = np.diff(time_s)
    median_s = float(median(steps))
    near = steps[(steps > 0.5 * median_s) & (steps < 1.5 * median_s)]
    period_s = float(np.mean(near)) if len(near) else median_s
    mean_s = float(np.mean(steps))
    many_long = np.mean(steps > 1.5 * median_s) > settings.least_bursts_share
    if many_long and mean_s > settings.most_burst_ratio * median_s:
        raise RunError(
            f"{where}: stamps come in bursts (middle step {1e3 * median_s:.4g} ms, mean step "
            f"{1e3 * mean_s:.4g} ms): they tell when samples arrived, not when they were taken. "
            "State rate_hz in the layout in place of the time column"
        )
    return period_s


def _refuse_leap(time_s: FloatArray, period_s: float, where: str, most_empty_ratio: float) -> None:
    points = (time_s[-1] - time_s[0]) / period_s
    if points > _SMALL_GRID_SAMPLES and points > most_empty_ratio * len(time_s):
        at = int(np.argmax(np.diff(time_s)))
        raise RunError(
            f"{where}: time leaps from {time_s[at]:.10g} s to {time_s[at + 1]:.10g} s, so that "
            f"{len(time_s)} samples are spread over {time_s[-1] - time_s[0]:.4g} s. Check the "
            "unit of the time column, or split the log there"
        )
