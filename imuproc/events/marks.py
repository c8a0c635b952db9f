"""Marks of touchdown and toe-off in one leg's signals, between two forward swings.

Each mark lags the event (or leads it) by a known amount that :mod:`imuproc.events.unaided` takes
off; coarse contacts take the marks as they are.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.peaks import find_peaks
from imuproc.events.leg_signals import LegSignals

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Between:
    """Samples between two forward swings of one leg.

    Parameters
    ----------
    swing : int
        Peak of the forward swing.
    slowed : int
        Where the swing has slowed down, just before touchdown.
    rise : int
        Where the next forward swing begins (rate zero), well after toe-off.
    """

    swing: int
    slowed: int
    rise: int

    def at(self, share: float) -> int:
        """Sample at a share of the time from ``slowed`` to ``rise``."""
        return int(self.slowed + share * (self.rise - self.slowed))


@dataclass(frozen=True)
class TouchdownMarks:
    """Marks of one touchdown; times in s, NaN where a leg does not have them.

    Parameters
    ----------
    jerk_onset_s : float
        The jerk has risen by a quarter of its rise.
    jerk_half_s : float
        ... by half of it.
    impact_ratio : float
        Peak of the jerk to that of the jerk of slow motion: large when the impact is sharp, 0
        where nothing moves (a bridged gap).
    shock_s : float
        The jerk that an impact adds has first risen to 70 % of its peak.
    shock_ratio : float
        That peak to the largest in the quiet before it; 0 where nothing moves.
    axial_rise_s : float
        The force along the shank has risen by a third of its rise.
    jerk_mps3 : float
        Its peak.
    cycle_s : float
        From slowed swing to next swing.
    """

    jerk_onset_s: float
    jerk_half_s: float
    impact_ratio: float
    shock_s: float
    shock_ratio: float
    axial_rise_s: float
    jerk_mps3: float
    cycle_s: float


# Where marks are looked for, as shares of the time from slowed swing to next swing. Over 533
# contacts at 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298) and simulated sprints
# touchdown lies between 0.02 and 0.32 (a first step out of the start: down to -0.2 on the foot),
# toe-off between 0.50 and 0.88.
_TOUCHDOWN_FROM = -0.2
_SWINGING_WEIGHT = 0.5
_FOOT_SHAKES_TO = 0.35
_SHANK_SHAKES_TO = 0.24
_FORCE_PEAK_TO = 0.30
_STANCE_FROM = 0.4
_PUSH_FROM = 0.45
_PUSH_TO = 0.80
_PUSH_BESIDE = 0.04
_STRONG_TURN = 0.7
_LEAST_FALL = 5.3
_SHANK_BACK_TO = 0.75

_ONSET_S = 0.06
_SHOCK_S = 0.02
_QUIET_S = 0.045
_SHOCK_RISE = 0.7
_IMPACT_BESIDE_S = 0.03
_LOAD_BEFORE_S = 0.02


def touchdown_marks(leg: LegSignals, between: Between) -> TouchdownMarks:
    """Marks of the touchdown between two forward swings.

    Parameters
    ----------
    leg : LegSignals
    between : Between

    Returns
    -------
    TouchdownMarks
    """
    first = max(between.swing, between.at(_TOUCHDOWN_FROM))
    last = between.at(_SHANK_SHAKES_TO if leg.axial_mps2 is not None else _FOOT_SHAKES_TO)
    weighed = leg.jerk_mps3[first:last].copy()
    # The swing shakes too: before it has slowed only a shake that stands out is a touchdown.
    weighed[: between.slowed - first] *= _SWINGING_WEIGHT
    peak = first + int(np.argmax(weighed))
    width = max(1, round(_IMPACT_BESIDE_S * leg.rate_hz))
    beside = slice(max(0, peak - width), peak + width + 1)
    shock_s, shock_ratio = _shock(leg, between, first, last)
    axial = np.nan
    if leg.axial_mps2 is not None:
        # The swing pulls along the shank too: the load is sought from just before the shake on.
        begin = max(between.slowed, peak - max(1, round(_LOAD_BEFORE_S * leg.rate_hz)))
        end = max(between.at(_FORCE_PEAK_TO), begin + 2)
        top = begin + int(np.argmax(leg.axial_mps2[begin:end]))
        axial = _rise_time(leg, leg.axial_mps2, top, _ONSET_S, 0.35)
    return TouchdownMarks(
        jerk_onset_s=_rise_time(leg, leg.jerk_mps3, peak, _ONSET_S, 0.25),
        jerk_half_s=_rise_time(leg, leg.jerk_mps3, peak, _ONSET_S, 0.5),
        impact_ratio=_times(leg.jerk_mps3[peak], leg.slow_jerk_mps3[beside].max()),
        shock_s=shock_s,
        shock_ratio=shock_ratio,
        axial_rise_s=axial,
        jerk_mps3=float(leg.jerk_mps3[peak]),
        cycle_s=(between.rise - between.slowed) / leg.rate_hz,
    )


def _times(value: float, base: float) -> float:
    return float(value / base) if base > 0.0 else 0.0


def _shock(leg: LegSignals, between: Between, first: int, last: int) -> tuple[float, float]:
    """When the shock has first risen, in s, and how far it stands out of the quiet before it."""
    weighed = leg.shock_mps3[first:last].copy()
    weighed[: between.slowed - first] *= _SWINGING_WEIGHT
    peak = first + int(np.argmax(weighed))
    early, quiet = (max(0, peak - round(s * leg.rate_hz)) for s in (_SHOCK_S, _QUIET_S))
    before = leg.shock_mps3[quiet : max(early, quiet + 1)]
    ratio = _times(leg.shock_mps3[peak], before.max())
    level = _SHOCK_RISE * leg.shock_mps3[peak]
    over = early + int(np.argmax(leg.shock_mps3[early : peak + 1] >= level))
    if over == 0 or ratio <= 1.0:
        return float("nan"), ratio
    low, high = leg.shock_mps3[over - 1 : over + 1]
    part = (level - low) / (high - low) if high > low else 1.0
    return float(leg.time_s[over] - (1.0 - np.clip(part, 0.0, 1.0)) / leg.rate_hz), ratio


def _rise_time(leg: LegSignals, x: FloatArray, peak: int, within_s: float, share: float) -> float:
    """First time after its least value at which a signal has made a share of its rise to a peak."""
    start = max(0, peak - max(1, round(within_s * leg.rate_hz)))
    low = start + int(np.argmin(x[start : peak + 1]))
    level = x[low] + share * (x[peak] - x[low])
    over = low + int(np.argmax(x[low : peak + 1] >= level))
    if over == low:
        return float(leg.time_s[low])
    part = (level - x[over - 1]) / (x[over] - x[over - 1])
    return float(leg.time_s[over - 1] + part / leg.rate_hz)


@dataclass(frozen=True)
class ToeOffMarks:
    """Marks of one toe-off; times in s, NaN where a leg does not have them.

    Parameters
    ----------
    push_off_s : float
        The force off the sole falls fastest. In running the force falls between push-off and
        swing; where a leg swings very fast the force that pulls the foot up may follow without a
        gap, and the mark is missing.
    foot_turn_s : float
        The foot turns fastest in its push.
    shank_off_s : float
        The shank's rate has fallen half-way from its recovery at the end of stance to the
        fold-back of early swing.
    """

    push_off_s: float
    foot_turn_s: float
    shank_off_s: float


def toe_off_marks(leg: LegSignals, between: Between) -> ToeOffMarks:
    """Marks of the toe-off between two forward swings.

    Parameters
    ----------
    leg : LegSignals
    between : Between

    Returns
    -------
    ToeOffMarks
    """
    push, turn, shank = np.nan, np.nan, np.nan
    if leg.foot_turn_radps is not None and leg.push_mps2 is not None:
        low, high = between.at(_PUSH_FROM), between.at(_PUSH_TO)
        rate = leg.foot_turn_radps[low:high]
        if len(rate) > 4 and rate.min() < 0.0:
            turn = float(leg.time_s[low + _strongest_turn(rate)])
            whole = float(np.ptp(leg.push_mps2[between.slowed : between.rise]))
            beside = max(1, round(_PUSH_BESIDE * (between.rise - between.slowed)))
            fall = _push_fall(rate, leg.push_mps2[low:high], beside)
            if fall is not None and -fall[1] * leg.rate_hz > _LEAST_FALL * whole:
                push = float(leg.time_s[low] + (fall[0] + 0.5) / leg.rate_hz)
    if leg.axial_mps2 is not None:
        shank = _shank_off_s(leg, between)
    return ToeOffMarks(push, turn, shank)


def _strongest_turn(rate: FloatArray) -> int:
    """The first strong turn of the push: the foot may turn on after toe-off."""
    turns = find_peaks(-rate)
    turns = turns[rate[turns] < _STRONG_TURN * rate.min()]
    return int(turns[0]) if len(turns) else int(np.argmin(rate))


def _push_fall(rate: FloatArray, force: FloatArray, beside: int) -> tuple[float, float] | None:
    """Steepest fall of the force while the foot turns: place (samples, refined), fall per sample.

    The force falls in mid-stance and in early swing too, but only the push turns the foot fast.
    """
    fall = np.diff(force)
    turning = np.maximum(-0.5 * (rate[1:] + rate[:-1]), 0.0)
    push = int(np.argmin(fall * turning**3))
    start = max(0, push - beside)
    k = start + int(np.argmin(fall[start : push + beside + 1]))
    if not 0 < k < len(fall) - 1:
        return None
    bend = fall[k - 1] - 2.0 * fall[k] + fall[k + 1]
    shift = 0.5 * (fall[k - 1] - fall[k + 1]) / bend if bend > 0.0 else 0.0
    return k + float(np.clip(shift, -0.5, 0.5)), float(fall[k])


def _shank_off_s(leg: LegSignals, between: Between) -> float:
    """When the shank's rate has fallen half-way; NaN if the shank does not fold back."""
    rate = leg.turn_radps
    low, high = between.at(_STANCE_FROM), between.at(_SHANK_BACK_TO)
    if high - low < 3:
        return float("nan")
    top = low + int(np.argmax(rate[low:high]))
    bottom = top + int(np.argmin(rate[top : between.rise + 1]))
    if bottom - top < 2:
        return float("nan")
    level = 0.5 * (rate[top] + rate[bottom])
    under = top + int(np.argmax(rate[top : bottom + 1] <= level))
    part = (rate[under - 1] - level) / (rate[under - 1] - rate[under])
    return float(leg.time_s[under - 1] + part / leg.rate_hz)
