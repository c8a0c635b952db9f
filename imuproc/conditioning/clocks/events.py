"""Moments that all sensors see in common: landings from a jump on both feet, and taps.

A landing is the end of free flight, in which an accelerometer reads next to nothing whatever its
axes. A tap is a short shock out of stillness: all sensors struck or knocked together, or a stamp.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clocks.grid import GRID_HZ, OwnGrid
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.filters import choose_odd_width, low_pass, moving_max, moving_mean
from imuproc.dsp.rotations import norm
from imuproc.files.settings_model import MEMORY, StageSettings, number

FloatArray = NDArray[np.float64]

_MOST_PAIRS_COUNT = 60
"""More pairs of moments are not compared: it would take too long."""
_PAD_S = 1.0
"""Taken along on both sides for the filters to settle."""


class EventSettings(StageSettings):
    """What a common moment looks like: a landing from a jump on both feet, or a tap."""

    basis = MEMORY
    cutoff_hz: float = number(
        30.0, (5.0, 80.0), "Low-pass of the acceleration that is looked at and compared."
    )
    flight_g: float = number(0.6, (0.05, 1.0), "In flight a sensor reads less in the mean.")
    flight_s: float = number(0.2, (0.05, 1.0), "Over how long.")
    landing_g: float = number(1.6, (1.0, 20.0), "Least peak of a landing after it.")
    landing_within_s: float = number(0.12, (0.01, 1.0), "How soon after flight that peak comes.")
    still_radps: float = number(
        0.6, (0.01, 10.0), "Before a tap and after its ringing a sensor turns no faster."
    )
    still_s: float = number(0.3, (0.05, 5.0), "For how long.")
    still_shock_share: float = number(
        0.3, (0.01, 1.0), "And is shaken by no more than this share of the least tap."
    )
    tap_g: float = number(1.0, (0.1, 50.0), "Least shock of a tap.")
    tap_length_s: float = number(0.2, (0.01, 2.0), "How long a tap may ring.")
    tap_lead_s: float = number(0.03, (0.0, 0.5), "Before a tap so much time may be restless.")
    shock_from_hz: float = number(
        1.0, (0.1, 20.0), "A shock is what the acceleration has above this frequency."
    )
    apart_s: float = number(0.5, (0.05, 10.0), "Least time between two moments of one sensor.")
    window_s: tuple[float, float] = number(
        (0.4, 0.25), (0.05, 2.0), "What is compared around a moment, before and after it."
    )
    near_s: float = number(
        0.05,
        (0.005, 0.5),
        "How far two sensors' moments may lie apart once their clocks are one.",
    )
    drift_ppm: float = number(250.0, (1.0, 100_000.0), "How differently two clocks may run.")
    least_alike: float = number(
        0.7, (0.0, 1.0), "Least correlation of the two signals around the moment.", unit=""
    )
    highest_g: float = number(
        4.0,
        (1.0, 100.0),
        "What reads more counts as this much: peaks depend on shoes and straps.",
    )


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


def _compute_size_g(grid: OwnGrid, rows: slice, settings: EventSettings) -> FloatArray:
    smooth = low_pass(grid.accel_mps2[rows], settings.cutoff_hz, GRID_HZ)
    return norm(smooth) / STANDARD_GRAVITY_MPS2


def _compute_shock_g(grid: OwnGrid, rows: slice, settings: EventSettings) -> FloatArray:
    """What a shock adds to the acceleration, in any direction: too short for a low-pass."""
    accel = grid.accel_mps2[rows]
    slow = low_pass(accel, settings.shock_from_hz, GRID_HZ)
    return norm(accel - slow) / STANDARD_GRAVITY_MPS2


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
    size = _compute_size_g(grid, slice(None), settings)
    shock = _compute_shock_g(grid, slice(None), settings)
    landing, tap = (
        _find_landings(size, settings),
        _find_taps(shock, norm(grid.gyro_radps), settings),
    )
    near = np.abs(tap[:, None] - landing[None, :]) < settings.apart_s * GRID_HZ
    tap = tap[~near.any(axis=1)]
    rows = np.concatenate((landing, tap))
    is_tap = np.repeat([False, True], [len(landing), len(tap)])
    order = np.argsort(rows, kind="stable")
    rows, is_tap = rows[order], is_tap[order]
    keep = np.diff(rows, prepend=-np.inf) >= settings.apart_s * GRID_HZ
    return Moments(grid.start_s + rows[keep] / GRID_HZ, is_tap[keep])


def _find_rising_edges(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    return np.flatnonzero(np.diff(mask.astype(np.int8), prepend=np.int8(mask[0])) == 1)


def _find_landings(size_g: FloatArray, settings: EventSettings) -> NDArray[np.intp]:
    """Samples at which weight comes back after free flight."""
    width = choose_odd_width(settings.flight_s, GRID_HZ)
    floating = moving_mean(size_g, width) < settings.flight_g
    # The mean is centred: what ends half a width later was in flight until then.
    ended = np.zeros(len(size_g), dtype=bool)
    reach = width // 2 + choose_odd_width(settings.landing_within_s, GRID_HZ)
    ahead = moving_max(size_g, choose_odd_width(settings.landing_within_s, GRID_HZ))
    for row in _find_rising_edges(~floating):
        near = slice(row, min(row + reach, len(size_g)))
        back = np.flatnonzero(size_g[near] >= 1.0)
        if len(back) and ahead[row + int(back[0])] >= settings.landing_g:
            ended[row + int(back[0])] = True
    return np.flatnonzero(ended)


def _find_taps(shock_g: FloatArray, turn: FloatArray, settings: EventSettings) -> NDArray[np.intp]:
    """First samples of short shocks with stillness before and after."""
    width = choose_odd_width(settings.still_s, GRID_HZ)
    quiet = (moving_max(turn, width) < settings.still_radps) & (
        moving_max(shock_g, width) < settings.still_shock_share * settings.tap_g
    )
    struck = _find_rising_edges(shock_g > settings.tap_g)
    half = width // 2 + 1
    lead, trail = (half + int(s * GRID_HZ) for s in (settings.tap_lead_s, settings.tap_length_s))
    inside = (struck >= lead) & (struck + trail < len(shock_g))
    struck = struck[inside]
    return np.asarray(struck[quiet[struck - lead] & quiet[struck + trail]])


def match_moments(
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
        Those that one clock against the other brings together and whose signals are alike; of
        several ways to do so the one that brings most together.
    """
    lags = b[1].stamp_s[None, :] - a[1].stamp_s[:, None] - offset_s
    possible = np.argwhere((np.abs(lags) <= reach_s) & (a[1].tap[:, None] == b[1].tap))
    found = []
    for i, j in possible[:_MOST_PAIRS_COUNT]:
        stamps, tap = (float(a[1].stamp_s[i]), float(b[1].stamp_s[j])), bool(a[1].tap[i])
        lag_s, alike = measure_moment_lag(a[0], b[0], stamps, tap, settings)
        if alike >= settings.least_alike:
            found.append(Match(stamps[0], lag_s, alike, tap))
    return _keep_on_one_line(found, settings)


def _keep_on_one_line(found: list[Match], settings: EventSettings) -> list[Match]:
    """Keep the pairs that one offset and drift explain: the choice that explains most."""
    at = np.array([match.stamp_s for match in found])
    lag = np.array([match.lag_s for match in found])
    alike = np.array([match.alike for match in found])
    best: tuple[float, list[Match]] = (0.0, [])
    for k in range(len(found)):
        since = at - at[k]
        apart = np.abs(since) > settings.apart_s
        slopes = np.divide(lag - lag[k], since, out=np.zeros(len(found)), where=apart)
        for slope in {0.0, *slopes[np.abs(slopes) <= 1e-6 * settings.drift_ppm].tolist()}:
            kept = np.abs(lag - lag[k] - slope * since) <= settings.near_s
            # Of equals the clocks that differ least.
            score = float(alike[kept].sum()) - 0.01 * abs(slope) / (1e-6 * settings.drift_ppm)
            if score > best[0] + 1e-9:
                best = (score, [match for match, one in zip(found, kept, strict=True) if one])
    return best[1]


def measure_moment_lag(
    a: OwnGrid, b: OwnGrid, at_s: tuple[float, float], tap: bool, settings: EventSettings
) -> tuple[float, float]:
    """Lag between two sensors' signals around a moment, and how alike they are.

    Parameters
    ----------
    a, b : OwnGrid
    at_s : tuple of float
        Its stamps on both clocks, roughly.
    tap : bool
        Whether it is a tap.
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
    here = _prepare_part(a, slice(first[0], first[0] + count), tap, settings)
    there = _prepare_part(b, slice(first[1] - reach, first[1] + count + reach), tap, settings)
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


def _prepare_part(
    grid: OwnGrid, rows: slice, tap: bool, settings: EventSettings
) -> FloatArray | None:
    """Size of the acceleration, or of a shock in it, over some samples; high peaks are cut."""
    pad = int(_PAD_S * GRID_HZ)
    if rows.start < 0 or rows.stop > len(grid.accel_mps2):
        return None
    wide = slice(max(rows.start - pad, 0), min(rows.stop + pad, len(grid.accel_mps2)))
    size = _compute_size_g(grid, wide, settings)
    if tap:  # a sensor rings, each its own way: how strongly is what they share
        size = low_pass(_compute_shock_g(grid, wide, settings), settings.cutoff_hz, GRID_HZ)
    return np.minimum(size[rows.start - wide.start : rows.stop - wide.start], settings.highest_g)
