"""Moments that all sensors see in common: landings from a jump on both feet, and taps.

A landing is the end of free flight, in which an accelerometer reads next to nothing whatever its
axes. A tap is a short shock out of stillness: all sensors struck or knocked together, or a stamp.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clock_grid import GRID_HZ, OwnGrid
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.filters import low_pass, moving_max, moving_mean, odd_width
from imuproc.dsp.rotations import lengths

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class EventSettings:
    """What a common moment looks like.

    Parameters
    ----------
    cutoff_hz : float
        Low-pass of the acceleration that is looked at and compared.
    flight_g, flight_s : float
        Mean reading in flight, and over how long.
    landing_g : float
        Least peak within ``landing_within_s`` after it.
    landing_within_s : float
    still_radps, still_s : float
        Before a tap and after its ringing a sensor turns no faster, over how long.
    tap_g : float
        Least departure from 1 g.
    tap_length_s : float
        How long a tap may ring.
    apart_s : float
        Least time between two moments of one sensor.
    window_s : tuple of float
        What is compared around a moment, before and after it.
    near_s : float
        How far two sensors' moments may lie apart once their clocks are roughly one.
    least_alike : float
        Least correlation of the two signals around the moment.
    highest_g : float
        What reads more counts as this much: peaks depend on shoes and straps.
    """

    cutoff_hz: float = 30.0
    flight_g: float = 0.6
    flight_s: float = 0.2
    landing_g: float = 1.6
    landing_within_s: float = 0.12
    still_radps: float = 0.6
    still_s: float = 0.3
    tap_g: float = 1.0
    tap_length_s: float = 0.2
    apart_s: float = 0.5
    window_s: tuple[float, float] = (0.4, 0.25)
    near_s: float = 0.05
    least_alike: float = 0.7
    highest_g: float = 4.0


@dataclass(frozen=True, eq=False)
class Moments:
    """Moments of one sensor, as stamps in s, and which of them are taps; both shape (k,)."""

    stamp_s: FloatArray
    tap: NDArray[np.bool_]


@dataclass(frozen=True)
class Match:
    """One moment that two sensors saw.

    Parameters
    ----------
    stamp_s : float
        On the first sensor's clock.
    lag_s : float
        Stamp of the second sensor minus that of the first.
    alike : float
        Correlation of the two signals around it.
    tap : bool
    """

    stamp_s: float
    lag_s: float
    alike: float
    tap: bool


def _size_g(grid: OwnGrid, rows: slice, settings: EventSettings) -> FloatArray:
    smooth = low_pass(grid.accel_mps2[rows], settings.cutoff_hz, GRID_HZ)
    return lengths(smooth) / STANDARD_GRAVITY_MPS2


def find_moments(grid: OwnGrid, settings: EventSettings) -> Moments:
    """Landings and taps in one log.

    Parameters
    ----------
    grid : OwnGrid
    settings : EventSettings

    Returns
    -------
    Moments
        In order of time.
    """
    size = _size_g(grid, slice(None), settings)
    landing, tap = _landings(size, settings), _taps(size, lengths(grid.gyro_radps), settings)
    rows = np.concatenate((landing, tap))
    is_tap = np.repeat([False, True], [len(landing), len(tap)])
    order = np.argsort(rows, kind="stable")
    rows, is_tap = rows[order], is_tap[order]
    keep = np.diff(rows, prepend=-np.inf) >= settings.apart_s * GRID_HZ
    return Moments(grid.start_s + rows[keep] / GRID_HZ, is_tap[keep])


def _rising(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    return np.flatnonzero(np.diff(mask.astype(np.int8), prepend=np.int8(mask[0])) == 1)


def _landings(size_g: FloatArray, settings: EventSettings) -> NDArray[np.intp]:
    """Samples at which weight comes back after free flight."""
    width = odd_width(settings.flight_s, GRID_HZ)
    floating = moving_mean(size_g, width) < settings.flight_g
    # The mean is centred: what ends half a width later was in flight until then.
    ended = np.zeros(len(size_g), dtype=bool)
    reach = width // 2 + odd_width(settings.landing_within_s, GRID_HZ)
    ahead = moving_max(size_g, odd_width(settings.landing_within_s, GRID_HZ))
    for row in _rising(~floating):
        near = slice(row, min(row + reach, len(size_g)))
        back = np.flatnonzero(size_g[near] >= 1.0)
        if len(back) and ahead[row + int(back[0])] >= settings.landing_g:
            ended[row + int(back[0])] = True
    return np.flatnonzero(ended)


def _taps(size_g: FloatArray, turn: FloatArray, settings: EventSettings) -> NDArray[np.intp]:
    """First samples of short shocks with stillness before and after."""
    width = odd_width(settings.still_s, GRID_HZ)
    quiet = (moving_max(turn, width) < settings.still_radps) & (
        moving_max(np.abs(size_g - 1.0), width) < 0.3
    )
    struck = _rising(np.abs(size_g - 1.0) > settings.tap_g)
    half = width // 2 + 1
    lead, trail = half + int(0.03 * GRID_HZ), half + int(settings.tap_length_s * GRID_HZ)
    inside = (struck >= lead) & (struck + trail < len(size_g))
    struck = struck[inside]
    return np.asarray(struck[quiet[struck - lead] & quiet[struck + trail]])


def match_moments(
    a: tuple[OwnGrid, Moments], b: tuple[OwnGrid, Moments], offset_s: float, reach_s: float
) -> list[tuple[int, int]]:
    """Pairs of moments of two sensors that one constant offset brings together.

    Parameters
    ----------
    a, b : tuple of OwnGrid and Moments
    offset_s : float
        Stamp of ``b`` minus stamp of ``a``, roughly.
    reach_s : float
        How far that may be off.

    Returns
    -------
    list of (int, int)
        Rows of both; empty where none fit. The offset that brings most together is taken, and of
        several such the one whose signals are most alike.
    """
    settings = EventSettings()
    lags = b[1].stamp_s[None, :] - a[1].stamp_s[:, None] - offset_s
    same = a[1].tap[:, None] == b[1].tap[None, :]
    possible = np.argwhere((np.abs(lags) <= reach_s) & same)
    best: tuple[float, list[tuple[int, int]]] = (0.0, [])
    for i, j in possible:
        near = (np.abs(lags - lags[i, j]) <= settings.near_s) & same
        pairs = [(int(p), int(q)) for p, q in np.argwhere(near)]
        found = [
            compare(a[0], b[0], (a[1].stamp_s[p], b[1].stamp_s[q]), settings) for p, q in pairs
        ]
        score = sum(max(alike, 0.0) for _, alike in found)
        if score > best[0] + 1e-9:
            best = (score, pairs)
    return best[1]


def compare(
    a: OwnGrid, b: OwnGrid, at_s: tuple[float, float], settings: EventSettings
) -> tuple[float, float]:
    """Lag between two sensors' signals around a moment, and how alike they are.

    Parameters
    ----------
    a, b : OwnGrid
    at_s : tuple of float
        Its stamps on both clocks, roughly.
    settings : EventSettings

    Returns
    -------
    lag_s, alike : float
        Stamp of ``b`` minus stamp of ``a`` in s, and the correlation there; NaN and -1 where the
        signals do not reach far enough.
    """
    before, after = settings.window_s
    reach = int(1.5 * settings.near_s * GRID_HZ)
    first = [round((t - before - g.start_s) * GRID_HZ) for t, g in zip(at_s, (a, b), strict=True)]
    count = round((before + after) * GRID_HZ)
    here = _part(a, first[0], first[0] + count, settings)
    there = _part(b, first[1] - reach, first[1] + count + reach, settings)
    if here is None or there is None:
        return np.nan, -1.0
    alike = np.array([np.corrcoef(here, there[k : k + count])[0, 1] for k in range(2 * reach + 1)])
    top = int(np.argmax(alike))
    if top in (0, 2 * reach):
        return np.nan, -1.0
    low, mid, high = alike[top - 1 : top + 2]
    shift = 0.5 * (low - high) / (low - 2.0 * mid + high)
    stamps = [g.start_s + f / GRID_HZ for f, g in zip(first, (a, b), strict=True)]
    return stamps[1] - stamps[0] + (top - reach + shift) / GRID_HZ, float(mid)


def _part(grid: OwnGrid, first: int, last: int, settings: EventSettings) -> FloatArray | None:
    """Size of the acceleration over some samples, high peaks cut."""
    pad = int(0.2 * GRID_HZ)
    if first < 0 or last > len(grid.accel_mps2):
        return None
    begin = max(first - pad, 0)
    size = _size_g(grid, slice(begin, min(last + pad, len(grid.accel_mps2))), settings)
    return np.minimum(size[first - begin : last - begin], settings.highest_g)


def matches(
    a: tuple[OwnGrid, Moments],
    b: tuple[OwnGrid, Moments],
    offset_s: float,
    reach_s: float,
    settings: EventSettings,
) -> list[Match]:
    """Moments that two sensors saw in common, with the lag at each.

    Parameters
    ----------
    a, b : tuple of OwnGrid and Moments
    offset_s, reach_s : float
        Stamp of ``b`` minus stamp of ``a``, roughly, and how far that may be off.
    settings : EventSettings

    Returns
    -------
    list of Match
        Those whose signals are alike.
    """
    found = []
    for i, j in match_moments(a, b, offset_s, reach_s):
        stamps = float(a[1].stamp_s[i]), float(b[1].stamp_s[j])
        lag_s, alike = compare(a[0], b[0], stamps, settings)
        if alike >= settings.least_alike:
            found.append(Match(stamps[0], lag_s, alike, bool(a[1].tap[i])))
    return found
