"""Angles read off their curves: at events, and over windows of time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.estimators.angles import AngleCurve
from imuproc.estimators.quantities import Quantity

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Instants:
    """Events of one kind.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
        NaN where it is not known.
    u_s : ndarray, shape (m,)
        Standard uncertainty of each by itself.
    shared_u_s : ndarray, shape (m,)
        That which all of them share: see the part ``reference``.
    """

    time_s: FloatArray
    u_s: FloatArray
    shared_u_s: FloatArray


_DEG = float(np.degrees(1.0))


def read_at_events(curve: AngleCurve, events: Instants, scale: float = _DEG) -> Quantity:
    """Angle at event times; the event's own uncertainty counts by the angle's rate.

    Parameters
    ----------
    curve : AngleCurve
    events : Instants
    scale : float
        From the curve's unit to that of the figure: from rad to deg, or 1 for a curve in m.

    Returns
    -------
    Quantity
        In deg, or m.
    """
    at_s = events.time_s
    value = scale * np.interp(at_s, curve.time_s, curve.angle_rad)
    parts = {
        name: scale * np.interp(at_s, curve.time_s, part) for name, part in curve.parts_rad.items()
    }
    for name, u_s in (("event", events.u_s), ("reference", events.shared_u_s)):
        parts[name] = scale * measure_speed_near(curve, at_s, u_s) * u_s
    return Quantity(value, parts)


def measure_speed_near(curve: AngleCurve, event_s: FloatArray, event_u_s: FloatArray) -> FloatArray:
    """Typical |rate| within one uncertainty of each event, so that a turning point counts too.

    Parameters
    ----------
    curve : AngleCurve
    event_s, event_u_s : ndarray, shape (m,)

    Returns
    -------
    ndarray, shape (m,)
        In rad/s.
    """
    shifts = np.array([-1.0, 0.0, 1.0])
    times = event_s[:, None] + event_u_s[:, None] * shifts
    rates = np.interp(times, curve.time_s, curve.rate_radps)
    return np.asarray(np.sqrt(np.mean(rates**2, axis=1)))


@dataclass(frozen=True, eq=False)
class Swings:
    """The swing that ends at each contact.

    Parameters
    ----------
    start : Instants
        The foot's previous toe-off, or its departure from the start; NaN where there is no swing.
    end : Instants
        Touchdown.
    """

    start: Instants
    end: Instants


def summarise_swings(
    curve: AngleCurve, swings: Swings, last_share: float, statistic: str, scale: float = _DEG
) -> Quantity:
    """Least, largest or mean angle over the last part of each swing, touchdown included, in deg.

    Parameters
    ----------
    curve : AngleCurve
    swings : Swings
    last_share : float
        Part of the swing that counts, up to touchdown.
    statistic : {"min", "max", "mean"}
    scale : float
        As for :func:`read_at_events`.

    Returns
    -------
    Quantity
        In deg; the uncertainty of both ends counts by how the statistic moves with them.
    """
    count = len(swings.end.time_s)
    value = np.full(count, np.nan)
    parts = {name: np.full(count, np.nan) for name in (*curve.parts_rad, "event", "reference")}
    rows = np.flatnonzero(swings.end.time_s > swings.start.time_s)
    start, end = (
        _move_ends(swings.start, rows, first=True),
        _move_ends(swings.end, rows, first=False),
    )
    low = end - last_share * (end - start)
    if statistic == "mean":
        found, at_s = _average_windows(curve, low, end)
    else:
        found, at_s = _find_extremes(curve, low, end, 1.0 if statistic == "min" else -1.0)
    value[rows] = scale * found[:, 0]
    moved = np.square(found[:, 1:] - found[:, :1])
    parts["event"][rows] = scale * np.sqrt(0.5 * np.sum(moved[:, :4], axis=1))
    parts["reference"][rows] = scale * np.sqrt(0.5 * np.sum(moved[:, 4:], axis=1))
    for name, part in curve.parts_rad.items():
        parts[name][rows] = scale * np.interp(at_s, curve.time_s, part)
    return Quantity(value, parts)


def _move_ends(ends: Instants, rows: NDArray[np.intp], first: bool) -> FloatArray:
    """One end of each swing, (k, 9): as it is, then moved by its uncertainty.

    Both ways, by its own and then by the shared one; start and end take turns.
    """
    both, none = [1.0, -1.0], [0.0, 0.0]
    way = np.array([*both, *none] if first else [*none, *both])
    own, shared = (u_s[rows, None] * way for u_s in (ends.u_s, ends.shared_u_s))
    moves = np.hstack((np.zeros((len(rows), 1)), own, shared))
    return np.asarray(ends.time_s[rows, None] + moves)


def _average_windows(
    curve: AngleCurve, low_s: FloatArray, end_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean in rad over windows, shape (k, 9), and the middle of the first of each row."""
    steps = 0.5 * (curve.angle_rad[1:] + curve.angle_rad[:-1]) * np.diff(curve.time_s)
    gathered = np.concatenate(([0.0], np.cumsum(steps)))

    def integrate_until(time_s: FloatArray) -> FloatArray:
        before = np.clip(np.searchsorted(curve.time_s, time_s, "right") - 1, 0, len(steps))
        there = np.interp(time_s, curve.time_s, curve.angle_rad)
        since = time_s - curve.time_s[before]
        return np.asarray(gathered[before] + 0.5 * since * (curve.angle_rad[before] + there))

    mean = (integrate_until(end_s) - integrate_until(low_s)) / (end_s - low_s)
    return mean, 0.5 * (low_s + end_s)[:, 0]


def _find_extremes(
    curve: AngleCurve, low_s: FloatArray, end_s: FloatArray, sign: float
) -> tuple[FloatArray, FloatArray]:
    """Least (sign 1) or largest (-1) angle in rad in windows, shape (k, 9), and when it is.

    The time is that of the first window of each row.
    """
    angle = sign * curve.angle_rad
    first, last = np.searchsorted(curve.time_s, low_s), np.searchsorted(curve.time_s, end_s)
    inside = np.array(
        [
            a + int(np.argmin(angle[a:b])) if b > a else -1  # no sample in so short a window
            for a, b in zip(first.flat, last.flat, strict=True)
        ],
        dtype=np.int64,
    ).reshape(first.shape)
    times = np.stack((low_s, np.where(inside < 0, low_s, curve.time_s[inside]), end_s))
    angles = np.interp(times, curve.time_s, angle)
    pick = np.argmin(angles, axis=0)[None]
    found = np.take_along_axis(angles, pick, axis=0)[0]
    return sign * found, np.take_along_axis(times, pick, axis=0)[0][:, 0]
