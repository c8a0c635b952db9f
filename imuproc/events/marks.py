"""Marks of touchdown and toe-off in one leg's signals, between two forward swings.

Each mark lags the event (or leads it) by a known amount that :mod:`imuproc.events.unaided` takes
off; coarse contacts take the marks as they are.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.peaks import find_peaks
from imuproc.events.leg_signals import LegSignals
from imuproc.files.settings_model import TRIED, StageSettings, number

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

    def get_sample(self, share: float) -> int:
        """Sample at a share of the time from ``slowed`` to ``rise``."""
        return int(self.slowed + share * (self.rise - self.slowed))


@dataclass(frozen=True)
class TouchdownMarks:
    """Marks of one touchdown; times in s, NaN where a leg does not have them.

    Parameters
    ----------
    jerk_onset_s : float
        The jerk has made a first share of its rise.
    jerk_half_s : float
        ... by half of it.
    impact_ratio : float
        Peak of the jerk to that of the jerk of slow motion: large when the impact is sharp, 0
        where nothing moves (a bridged gap).
    shock_s : float
        The jerk that an impact adds has first risen to a share of its peak.
    shock_ratio : float
        That peak to the largest in the quiet before it; 0 where nothing moves.
    axial_rise_s : float
        The force along the shank has made a share of its rise.
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


class MarkSettings(StageSettings):
    """Where marks are looked for, and what they are.

    Shares are of the time from slowed swing to next swing: so a jog and a sprint read alike.
    """

    basis = (
        "over 533 contacts of 11 runners at 2.5 to 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, PeerJ "
        "5:e3298) and simulated sprints touchdown lies between 0.02 and 0.32 of the cycle (a first "
        "step out of the start: down to -0.2 on the foot), toe-off between 0.50 and 0.88"
    )
    touchdown_from_share: float = number(
        -0.2, (-1.0, 0.5), "A touchdown shakes the leg from here on."
    )
    swinging_weight: float = number(
        0.5,
        (0.0, 1.0),
        "Weight of a shake before the swing has slowed: the swing shakes, too.",
        TRIED,
        unit="",
    )
    foot_shakes_to_share: float = number(
        0.35, (0.0, 1.0), "And until here, where there is no shank sensor."
    )
    shank_shakes_to_share: float = number(0.24, (0.0, 1.0), "And until here, where there is one.")
    jerk_onset_share: float = number(
        0.25, (0.01, 0.99), "Share of its rise at which the jerk sets in.", TRIED
    )
    onset_s: float = number(0.06, (0.005, 0.5), "How long before a peak its rise is sought.", TRIED)
    impact_beside_s: float = number(
        0.03,
        (0.0, 0.5),
        "How far beside its peak the jerk is held against that of slow motion.",
        TRIED,
    )
    shock_s: float = number(
        0.02, (0.001, 0.2), "How long before its peak a shock may begin.", TRIED
    )
    quiet_s: float = number(
        0.045, (0.001, 0.5), "From how long before its peak on it was quiet before that.", TRIED
    )
    shock_rise_share: float = number(
        0.7, (0.01, 0.99), "Share of its peak at which a shock has risen.", TRIED
    )
    load_before_s: float = number(
        0.02,
        (0.0, 0.5),
        "The load on the shank is sought from so long before the shake on: the swing pulls along "
        "the shank, too.",
        TRIED,
    )
    force_peak_to_share: float = number(0.30, (0.0, 1.0), "And its peak until here.")
    axial_rise_share: float = number(
        0.35, (0.01, 0.99), "Share of its rise at which the shank is loaded.", TRIED
    )
    push_from_share: float = number(0.45, (0.0, 1.0), "The push of the foot is sought from here.")
    push_to_share: float = number(0.80, (0.0, 1.5), "And until here.")
    push_beside_share: float = number(
        0.04, (0.0, 0.5), "How far beside its fastest turn the force off the sole may fall.", TRIED
    )
    strong_turn_share: float = number(
        0.7,
        (0.01, 1.0),
        "The first turn of the foot that is as strong as this share of the strongest is its push: "
        "it may turn on after toe-off.",
        TRIED,
    )
    least_fall_per_s: float = number(
        5.3,
        (0.0, 100.0),
        "The force off the sole falls as fast at least, as a share of its whole range.",
        TRIED,
        unit="1/s",
    )
    stance_from_share: float = number(
        0.4, (0.0, 1.0), "The shank's recovery at the end of stance is sought from here."
    )
    shank_back_to_share: float = number(0.75, (0.0, 1.5), "And until here.")

    ordered = (
        ("shock_s", "quiet_s"),
        ("push_from_share", "push_to_share"),
        ("stance_from_share", "shank_back_to_share"),
    )


def find_touchdown_marks(
    leg: LegSignals, between: Between, settings: MarkSettings
) -> TouchdownMarks:
    """Marks of the touchdown between two forward swings.

    Parameters
    ----------
    leg : LegSignals
    between : Between
    settings : MarkSettings

    Returns
    -------
    TouchdownMarks
    """
    shakes_to = settings.foot_shakes_to_share
    if leg.axial_mps2 is not None:
        shakes_to = settings.shank_shakes_to_share
    first = max(between.swing, between.get_sample(settings.touchdown_from_share))
    last = max(between.get_sample(shakes_to), first + 1)
    weighed = leg.jerk_mps3[first:last].copy()
    # The swing shakes too: before it has slowed only a shake that stands out is a touchdown.
    weighed[: between.slowed - first] *= settings.swinging_weight
    peak = first + int(np.argmax(weighed))
    width = max(1, round(settings.impact_beside_s * leg.rate_hz))
    beside = slice(max(0, peak - width), peak + width + 1)
    shock_s, shock_ratio = _find_shock(leg, between, (first, last), settings)
    axial, onset_s = np.nan, settings.onset_s
    if leg.axial_mps2 is not None:
        begin = max(between.slowed, peak - max(1, round(settings.load_before_s * leg.rate_hz)))
        end = max(between.get_sample(settings.force_peak_to_share), begin + 2)
        top = begin + int(np.argmax(leg.axial_mps2[begin:end]))
        axial = _find_rise_s(leg, leg.axial_mps2, top, onset_s, settings.axial_rise_share)
    return TouchdownMarks(
        jerk_onset_s=_find_rise_s(leg, leg.jerk_mps3, peak, onset_s, settings.jerk_onset_share),
        jerk_half_s=_find_rise_s(leg, leg.jerk_mps3, peak, onset_s, 0.5),
        impact_ratio=_to_times_s(leg.jerk_mps3[peak], leg.slow_jerk_mps3[beside].max()),
        shock_s=shock_s,
        shock_ratio=shock_ratio,
        axial_rise_s=axial,
        jerk_mps3=float(leg.jerk_mps3[peak]),
        cycle_s=(between.rise - between.slowed) / leg.rate_hz,
    )


def _to_times_s(value: float, base: float) -> float:
    return float(value / base) if base > 0.0 else 0.0


def _find_shock(
    leg: LegSignals, between: Between, within: tuple[int, int], settings: MarkSettings
) -> tuple[float, float]:
    """When the shock has first risen, in s, and how far it stands out of the quiet before it."""
    first, last = within
    weighed = leg.shock_mps3[first:last].copy()
    weighed[: between.slowed - first] *= settings.swinging_weight
    peak = first + int(np.argmax(weighed))
    begins_s = (settings.shock_s, settings.quiet_s)
    early, quiet = (max(0, peak - round(s * leg.rate_hz)) for s in begins_s)
    before = leg.shock_mps3[quiet : max(early, quiet + 1)]
    ratio = _to_times_s(leg.shock_mps3[peak], before.max())
    level = settings.shock_rise_share * leg.shock_mps3[peak]
    over = early + int(np.argmax(leg.shock_mps3[early : peak + 1] >= level))
    if over == 0 or ratio <= 1.0:
        return float("nan"), ratio
    low, high = leg.shock_mps3[over - 1 : over + 1]
    part = (level - low) / (high - low) if high > low else 1.0
    return float(leg.time_s[over] - (1.0 - np.clip(part, 0.0, 1.0)) / leg.rate_hz), ratio


def _find_rise_s(leg: LegSignals, x: FloatArray, peak: int, within_s: float, share: float) -> float:
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


def find_toe_off_marks(leg: LegSignals, between: Between, settings: MarkSettings) -> ToeOffMarks:
    """Marks of the toe-off between two forward swings.

    Parameters
    ----------
    leg : LegSignals
    between : Between
    settings : MarkSettings

    Returns
    -------
    ToeOffMarks
    """
    push, turn, shank = np.nan, np.nan, np.nan
    if leg.foot_turn_radps is not None and leg.push_mps2 is not None:
        low, high = (
            between.get_sample(settings.push_from_share),
            between.get_sample(settings.push_to_share),
        )
        rate = leg.foot_turn_radps[low:high]
        if len(rate) > 4 and rate.min() < 0.0:
            turn = float(leg.time_s[low + _find_strong_turn(rate, settings.strong_turn_share)])
            whole = float(np.ptp(leg.push_mps2[between.slowed : between.rise]))
            cycle = between.rise - between.slowed
            beside = max(1, round(settings.push_beside_share * cycle))
            fall = _find_push_fall(rate, leg.push_mps2[low:high], beside)
            if fall is not None and -fall[1] * leg.rate_hz > settings.least_fall_per_s * whole:
                push = float(leg.time_s[low] + (fall[0] + 0.5) / leg.rate_hz)
    if leg.axial_mps2 is not None:
        shank = _find_shank_off_s(leg, between, settings)
    return ToeOffMarks(push, turn, shank)


def _find_strong_turn(rate: FloatArray, strong_share: float) -> int:
    """The first strong turn of the push: the foot may turn on after toe-off."""
    turns = find_peaks(-rate)
    turns = turns[rate[turns] < strong_share * rate.min()]
    return int(turns[0]) if len(turns) else int(np.argmin(rate))


def _find_push_fall(rate: FloatArray, force: FloatArray, beside: int) -> tuple[float, float] | None:
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


def _find_shank_off_s(leg: LegSignals, between: Between, settings: MarkSettings) -> float:
    """When the shank's rate has fallen half-way; NaN if the shank does not fold back."""
    rate = leg.turn_radps
    low = between.get_sample(settings.stance_from_share)
    high = min(between.get_sample(settings.shank_back_to_share), between.rise)
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
