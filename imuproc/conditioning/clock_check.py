"""Is the clock of shank and foot of one leg really one? The ankle that both share tells.

Clocks that are one came out at most 2.9 ms apart in 33 trials of 11 runners (see
:mod:`imuproc.conditioning.clock_lag`), so 4 ms are beyond that by a third; a shift of 7 ms is
always noticed.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.clock_lag import (
    JointSignals,
    Lag,
    LagSettings,
    joint_lag,
    joint_signals,
)
from imuproc.core.recording import Conditioned, ConditionedRecording, Interval
from imuproc.core.sites import SIDES, Side, foot_of, shank_of
from imuproc.dsp.filters import finite_stretches

FloatArray = NDArray[np.float64]

_MOST_APART_S = 0.004
_LONGEST_S = 12.0
_PIECE_S = 2.5


def leg_lags(
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
    end_s = min(run.end_s, run.start_s + _LONGEST_S)
    inside = slice(*np.searchsorted(conditioned.time_s, [run.start_s, end_s]))
    found: dict[Side, Lag] = {}
    for side in SIDES:
        legs = [conditioned.segments.get(site(side)) for site in (shank_of, foot_of)]
        pair = [segment for segment in legs if segment is not None]
        if len(pair) < 2:
            continue
        values = [v[inside] for segment in pair for v in (segment.accel_mps2, segment.gyro_radps)]
        whole = finite_stretches(np.concatenate(values, axis=1))
        if not whole:
            continue
        longest = max(whole, key=lambda part: part.stop - part.start)
        rows = slice(inside.start + longest.start, inside.start + longest.stop)
        shank, foot = (_signals(s, rows, conditioned.rate_hz, settings) for s in pair)
        lag = joint_lag(shank, foot, settings) or _middle_lag(shank, foot, settings)
        if lag is not None:
            found[side] = lag
    return found


def _signals(
    segment: Conditioned, rows: slice, rate_hz: float, settings: LagSettings
) -> JointSignals:
    clipped = segment.accel_clipped[rows] | segment.gyro_clipped[rows]
    accel, gyro = segment.accel_mps2[rows], segment.gyro_radps[rows]
    return joint_signals(accel, gyro, clipped, rate_hz, settings.cutoff_hz)


def _middle_lag(shank: JointSignals, foot: JointSignals, settings: LagSettings) -> Lag | None:
    """The middle one of the lags of short pieces: where clocks run differently no lag fits all."""
    rows = int(_PIECE_S * shank.rate_hz)
    count = max(1, min(len(shank.accel_mps2), len(foot.accel_mps2)) // rows)
    found = [
        joint_lag(
            *(signals.part(slice(first, first + rows)) for signals in (shank, foot)), settings
        )
        for first in range(0, count * rows, rows)
    ]
    lags = sorted((lag for lag in found if lag is not None), key=lambda lag: lag.lag_s)
    return lags[len(lags) // 2] if lags else None


def clock_faults(
    conditioned: ConditionedRecording, run: Interval, settings: LagSettings
) -> list[str]:
    """Legs whose shank and foot are not on one clock, in words.

    Parameters
    ----------
    conditioned : ConditionedRecording
        Of a clock that is said to be shared.
    run : Interval
    settings : LagSettings

    Returns
    -------
    list of str
        Empty where nothing speaks against one clock.
    """
    return [
        f"{foot_of(side)} is {1e3 * lag.lag_s:+.0f} ms off {shank_of(side)}"
        for side, lag in leg_lags(conditioned, run, settings).items()
        if abs(lag.lag_s) > _MOST_APART_S + 2.0 * lag.u_s
    ]
