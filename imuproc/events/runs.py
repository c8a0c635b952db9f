"""Runs in a log: stretches of fast leg swings that follow each other soon and carry the body on.

Standing has no fast rotation, a jump has one or two fast rotations and no more. Walking swings the
leg nearly as fast as a slow jog (6 to 8 rad/s against 7 to 11), but its strides take a second and
more, those of running 0.4 to 0.9 s (running: open data of Fukuchi, Fukuchi & Duarte 2017, PeerJ
5:e3298; walking from memory, medium). Drills on the spot swing the legs as fast and as often as
running does; what they lack is the way: :mod:`imuproc.events.progress` tells it.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from imuproc.core.recording import Interval
from imuproc.core.sites import Site, is_foot, is_lower_leg
from imuproc.dsp.filters import average_blocks, choose_block, low_pass
from imuproc.dsp.peaks import find_peaks
from imuproc.dsp.rotations import norm
from imuproc.events.progress import ProgressSettings, Track, measure_stride_lengths
from imuproc.files.settings_model import (
    FUKUCHI,
    JUDGEMENT,
    MEMORY,
    TRIED,
    StageSettings,
    number,
    table,
)

FloatArray = NDArray[np.float64]
Tracks = Mapping[Site, Sequence[Track]]

_ENOUGH_HZ = 200.0
"""Swings are slow: faster signals are averaged down to about this rate."""


class RunSettings(StageSettings):
    """What makes a run."""

    basis = TRIED
    cutoff_hz: float = number(
        8.0, (1.0, 50.0), "Low-pass of the rotation rate before peaks are counted."
    )
    least_swing_radps: float = number(6.0, (0.5, 40.0), "Least peak rate of a running swing.")
    shortest_stride_s: float = number(
        0.28, (0.1, 2.0), "Shortest time from one swing of a leg to its next in running."
    )
    longest_stride_s: float = number(
        0.95,
        (0.2, 5.0),
        "Longest time from one swing of a leg to its next in running.",
        f"0.4 to 0.9 s in {FUKUCHI}; strides of walking take a second and more (from memory)",
    )
    longest_pause_s: float = number(
        1.2, (0.2, 60.0), "Longest time between two fast swings of one run.", JUDGEMENT
    )
    fewest_swings: int = number(
        2, (1, 100), "Fast swings of one leg that make a run.", JUDGEMENT, unit="swings"
    )
    margin_s: float = number(
        1.2,
        (0.0, 10.0),
        "Added at both ends: the first push and the last stance have no fast swing of their own.",
        JUDGEMENT,
    )
    shortest_stride_m: float = number(
        0.95,
        (0.0, 5.0),
        "A quarter of a run's strides and more are longer.",
        "slow jogging around tight turns has 1.2 m (Wagstaff, Peretroukhin & Kelly, "
        "10.21227/v1z6-9z84, open data), the first two strides of a sprint 2 m (facts of sprint "
        "starts, see Ciacci et al. 2017, J Sports Sci 35:1270); in drills that gain ground a step "
        "is a foot's length or two (common practice, no source)",
    )
    shank_stride_m: float = number(
        1.4,
        (0.0, 5.0),
        "The same where only shanks have sensors, which tell the way less well.",
        f"they found 2.0 m and more in {FUKUCHI}",
    )
    fastest_limb_radps: float = number(
        80.0,
        (10.0, 500.0),
        "No limb turns faster for 10 samples (4600 deg/s): where one seems to, the unit is wrong.",
        MEMORY,
    )
    progress: ProgressSettings = table(ProgressSettings)

    ordered = (("shortest_stride_s", "longest_stride_s"),)


def find_runs(tracks: Tracks, settings: RunSettings) -> tuple[Interval, ...]:
    """Stretches of running in a log.

    Parameters
    ----------
    tracks : mapping from Site to sequence of Track
        Signals of each sensor in any axes, in order of time, parted where it was off for long.
    settings : RunSettings

    Returns
    -------
    tuple of Interval
        In order of time, margins included, never overlapping.
    """
    legs: Tracks = {site: own for site, own in tracks.items() if is_lower_leg(site) and own}
    times = [_find_swings(own, settings) for own in legs.values()]
    fast = np.sort(np.concatenate(times)) if times else np.empty(0)
    if len(fast) == 0:
        return ()
    breaks = np.flatnonzero(np.diff(fast) > settings.longest_pause_s)
    starts = np.concatenate(([0], breaks + 1))
    ends = np.concatenate((breaks, [len(fast) - 1]))
    # A leg turns fast twice a stride, forward and back; each of its sensors sees both.
    fewest = 2 * settings.fewest_swings * max(1, len(legs) // 2)
    kept = ends - starts + 1 >= fewest
    spans = [Interval(float(fast[a]), float(fast[b])) for a, b in zip(starts, ends, strict=True)]
    for k in np.flatnonzero(kept).tolist():
        kept[k] = _has_running_strides(legs, spans[k], settings)
    first_s = min(own[0].time_s[0] for own in legs.values())
    last_s = max(own[-1].time_s[-1] for own in legs.values())
    log = Interval(float(first_s), float(last_s))
    return _widen_spans(fast[starts[kept]], fast[ends[kept]], log, settings.margin_s)


def _find_swings(own: Sequence[Track], settings: RunSettings) -> FloatArray:
    """Times of the fast turns of one sensor."""
    parts = [_find_fast_swings(t.time_s, t.rate_hz, t.gyro_radps, settings) for t in own]
    return np.concatenate(parts)


def _has_running_strides(legs: Tracks, span: Interval, settings: RunSettings) -> bool:
    """Whether the strides of a stretch are those of running; true where nothing can be said."""
    around_s = settings.longest_stride_s
    stretches = [
        (site, track.slice_between(span.start_s - around_s, span.end_s + around_s))
        for site, own in legs.items()
        for track in own
    ]
    if any(_is_too_fast(part, settings.fastest_limb_radps) for _, part in stretches):
        return True
    for of_feet, least_m in ((True, settings.shortest_stride_m), (False, settings.shank_stride_m)):
        known = np.concatenate(
            [
                np.empty(0),
                *(
                    measure_stride_lengths(part, site, settings.progress)
                    for site, part in stretches
                    if is_foot(site) is of_feet
                ),
            ]
        )
        if len(known) >= 2:
            return float(np.quantile(known, 0.75)) >= least_m
    return True


def _is_too_fast(track: Track, limit_radps: float) -> bool:
    """Whether ten samples and more are faster than a limb; single ones may be broken."""
    return int(np.count_nonzero(norm(track.gyro_radps) > limit_radps)) >= 10


def _widen_spans(
    first_s: FloatArray, last_s: FloatArray, log: Interval, margin_s: float
) -> tuple[Interval, ...]:
    """Stretches widened by a margin, but not beyond half-way to the next one or the log's ends."""
    half_way = 0.5 * (last_s[:-1] + first_s[1:])
    start = np.maximum(first_s - margin_s, np.append(log.start_s, half_way))
    end = np.minimum(last_s + margin_s, np.append(half_way, log.end_s))
    return tuple(Interval(float(a), float(b)) for a, b in zip(start, end, strict=True))


def _find_fast_swings(
    time_s: FloatArray, rate_hz: float, gyro: FloatArray, settings: RunSettings
) -> FloatArray:
    """Times of fast turns about the sensor's main axis of rotation, a stride from the next one.

    Which way is forward is not known yet: turns both ways count, each way for itself.
    """
    block = choose_block(rate_hz, _ENOUGH_HZ)
    time_s, rate_hz = average_blocks(time_s, block), rate_hz / block
    smooth = low_pass(average_blocks(gyro, block), min(settings.cutoff_hz, 0.4 * rate_hz), rate_hz)
    smooth = np.nan_to_num(smooth)
    _, axes = np.linalg.eigh(smooth.T @ smooth)
    rate = smooth @ axes[:, -1]
    distance = max(1, int(settings.shortest_stride_s * rate_hz))
    times = []
    for way in (rate, -rate):
        peaks = find_peaks(way, settings.least_swing_radps, distance)
        soon = np.diff(time_s[peaks]) < settings.longest_stride_s
        if len(peaks):
            times.append(time_s[peaks[np.append(soon, False) | np.append(False, soon)]])
    return np.concatenate(times) if times else np.empty(0)
