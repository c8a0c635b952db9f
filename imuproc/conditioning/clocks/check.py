"""Is the clock of shank and foot of one leg really one? The ankle that both share tells.

Clocks that are one came out at most 2.9 ms apart in 33 trials of 11 runners (see
:mod:`imuproc.conditioning.clocks.lag`), so 4 ms are beyond that by a third; a shift of 7 ms is
always noticed.
"""

from dataclasses import replace
from math import hypot

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clocks.lag import (
    JointSignals,
    Lag,
    LagSettings,
    prepare_joint_signals,
    solve_joint_lag,
)
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Conditioned, ConditionedRecording, Interval
from imuproc.core.sites import SIDES, Side, foot_of, shank_of
from imuproc.dsp.correlation import cross_correlate
from imuproc.dsp.filters import average_blocks, choose_block, find_finite_runs

FloatArray = NDArray[np.float64]

_MOST_TRIED_COUNT = 6
"""Lags of seconds that are tried, the likeliest first."""
_ENOUGH_HZ = 250.0
"""The joint's acceleration is told below 10 Hz: faster signals are averaged down to this first."""


def measure_leg_lags(
    conditioned: ConditionedRecording, run: Interval, settings: LagSettings
) -> dict[Side, Lag]:
    """By how much the foot's stamps lag behind the shank's in each leg.

    Parameters
    ----------
    conditioned : ConditionedRecording
    run : Interval
    settings : LagSettings

    Returns
    -------
    dict from Side to Lag
        Legs of which it can be told.
    """
    end_s = min(run.end_s, run.start_s + settings.compared_s)
    inside = slice(*np.searchsorted(conditioned.time_s, [run.start_s, end_s]))
    found: dict[Side, Lag] = {}
    for side in SIDES:
        legs = [conditioned.segments.get(site(side)) for site in (shank_of, foot_of)]
        pair = [segment for segment in legs if segment is not None]
        if len(pair) < 2:
            continue
        values = [v[inside] for segment in pair for v in (segment.accel_mps2, segment.gyro_radps)]
        whole = find_finite_runs(np.concatenate(values, axis=1))
        if not whole:
            continue
        longest = max(whole, key=lambda part: part.stop - part.start)
        rows = slice(inside.start + longest.start, inside.start + longest.stop)
        shank, foot = (_prepare_signals(s, rows, conditioned.rate_hz, settings) for s in pair)
        lag = (
            solve_joint_lag(shank, foot, settings)
            or _find_middle_lag(shank, foot, settings)
            or _find_far_lag(shank, foot, settings)
        )
        if lag is not None:
            found[side] = lag
    return found


def _prepare_signals(
    segment: Conditioned, rows: slice, rate_hz: float, settings: LagSettings
) -> JointSignals:
    block = choose_block(rate_hz, _ENOUGH_HZ)
    clipped = (segment.accel_clipped[rows] | segment.gyro_clipped[rows]).astype(float)
    accel, gyro, clipped = (
        average_blocks(x, block)
        for x in (segment.accel_mps2[rows], segment.gyro_radps[rows], clipped)
    )
    return prepare_joint_signals(accel, gyro, clipped > 0.0, rate_hz / block, settings)


def _find_middle_lag(shank: JointSignals, foot: JointSignals, settings: LagSettings) -> Lag | None:
    """The middle one of the lags of short pieces: where clocks run differently no lag fits all."""
    rows = int(settings.piece_s * shank.rate_hz)
    count = max(1, min(len(shank.accel_mps2), len(foot.accel_mps2)) // rows)
    pieces = [slice(first, first + rows) for first in range(0, count * rows, rows)]
    found = [solve_joint_lag(shank.take(piece), foot.take(piece), settings) for piece in pieces]
    lags = sorted((lag for lag in found if lag is not None), key=lambda lag: lag.lag_s)
    return lags[len(lags) // 2] if lags else None


def _find_far_lag(shank: JointSignals, foot: JointSignals, settings: LagSettings) -> Lag | None:
    """A lag of seconds: where both turn at the same times, the ankle tells the rest."""
    speeds = [
        np.sqrt(np.maximum(-0.5 * np.trace(s.turn, axis1=1, axis2=2), 0.0)) for s in (shank, foot)
    ]
    count = len(speeds[0])
    product = cross_correlate(speeds[1] - speeds[1].mean(), speeds[0] - speeds[0].mean())
    reach = min(int(settings.farthest_s * shank.rate_hz), count - 1)
    near = product[count - 1 - reach : count + reach]
    tops = np.flatnonzero((near[1:-1] > near[:-2]) & (near[1:-1] >= near[2:])) + 1
    for top in tops[np.argsort(-near[tops])][:_MOST_TRIED_COUNT].tolist():
        shift = top - reach
        first, other = (
            shank.take(slice(max(-shift, 0), None)),
            foot.take(slice(max(shift, 0), None)),
        )
        lag = solve_joint_lag(first, other, settings, scan=False)
        if lag is not None:
            return replace(lag, lag_s=lag.lag_s + shift / shank.rate_hz)
    return None


def find_clock_faults(
    conditioned: ConditionedRecording, run: Interval, settings: LagSettings
) -> list[RaisedFlag]:
    """Legs whose shank and foot are not on one clock.

    Parameters
    ----------
    conditioned : ConditionedRecording
        On a clock that is said to be shared, or that logs were tied to.
    run : Interval
    settings : LagSettings

    Returns
    -------
    list of RaisedFlag
        ``clock_differs``; empty where nothing speaks against one clock.
    """
    flags = []
    for side, lag in measure_leg_lags(conditioned, run, settings).items():
        u_s = hypot(lag.u_s, _compute_tie_u_s(conditioned, run, side))
        if abs(lag.lag_s) > settings.most_apart_s + 2.0 * u_s:
            off = {"foot": foot_of(side), "off_s": lag.lag_s, "shank": shank_of(side)}
            flags.append(RaisedFlag("clock_differs", off, span_s=(run.start_s, run.end_s)))
    return flags


def _compute_tie_u_s(conditioned: ConditionedRecording, run: Interval, side: Side) -> float:
    middle_s = np.array([0.5 * (run.start_s + run.end_s)])
    return float(
        conditioned.recording.clocks.compute_u_s(shank_of(side), foot_of(side), middle_s)[0]
    )
