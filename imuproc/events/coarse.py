"""Coarse contacts from signals alone, good to about 15 ms: where to look for rest in stance.

Each forward swing of a leg (a peak of sagittal rate) is followed by one contact. Touchdown shakes
the segment or loads the shank after the swing has slowed; at toe-off the force off the sole falls,
or, without a foot sensor, the shank folds back. All windows are shares of the time between the two
forward swings, so that a jog and a sprint read alike.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import ConditionedRecording, Interval
from imuproc.core.sites import SIDES
from imuproc.dsp.peaks import find_peaks
from imuproc.events.fusion import FusionSettings
from imuproc.events.leg_signals import LegSignals, SignalSettings, compute_leg_signals
from imuproc.events.marks import (
    Between,
    MarkSettings,
    ToeOffMarks,
    TouchdownMarks,
    find_toe_off_marks,
    find_touchdown_marks,
)
from imuproc.events.unaided import UnaidedSettings, find_marked_events
from imuproc.files.settings_model import TRIED, StageSettings, number, table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MARKS = (*TouchdownMarks.__dataclass_fields__, *ToeOffMarks.__dataclass_fields__)


class CoarseSettings(StageSettings):
    """How coarse contacts are found."""

    basis = TRIED
    least_swing_radps: float = number(3.5, (0.1, 40.0), "Least peak rate of a forward swing.")
    swing_share: float = number(
        0.15,
        (0.0, 1.0),
        "Least peak rate as a share of the run's fast swings (their 90 % quantile).",
    )
    last_swing_radps: float = number(
        1.0, (0.0, 20.0), "Least rate at which a foot comes forward after its last step."
    )
    shortest_stride_s: float = number(
        0.28, (0.1, 2.0), "Shortest time between two forward swings of one leg."
    )
    longest_stride_s: float = number(
        1.2, (0.2, 5.0), "Longest time between two forward swings of one leg."
    )
    slowed_share: float = number(
        0.3, (0.01, 0.99), "A swing has slowed at this share of its peak rate."
    )
    shortest_cycle_s: float = number(
        0.2,
        (0.0, 2.0),
        "After its last step a leg comes forward no sooner than so long after it has slowed.",
    )
    signals: SignalSettings = table(SignalSettings)
    marks: MarkSettings = table(MarkSettings)

    ordered = (("shortest_stride_s", "longest_stride_s"),)


def find_coarse_contacts(
    conditioned: ConditionedRecording,
    run: Interval,
    settings: CoarseSettings,
    unaided: UnaidedSettings,
    fusion: FusionSettings,
    ankle_m: float,
) -> Contacts:
    """Contacts of both feet within one run.

    Parameters
    ----------
    conditioned : ConditionedRecording
        Signals in segment axes.
    run : Interval
        The run on the recording's clock in s.
    settings : CoarseSettings
    unaided : UnaidedSettings
        How events follow from marks.
    fusion : FusionSettings
    ankle_m : float
        Usual distance from a sensor on the shank down to the ankle.

    Returns
    -------
    Contacts
        Evidence: ``swing_rate_radps`` (the forward swing before the contact), ``swing_s`` (when),
        ``jerk_mps3, impact_ratio, shock_ratio, cycle_s`` (see the marks), and the marks of both
        events in s, NaN where there is none: ``jerk_onset_s, jerk_half_s, shock_s, axial_rise_s,
        push_off_s, foot_turn_s, shank_off_s``.
    """
    inside = slice(*np.searchsorted(conditioned.time_s, [run.start_s, run.end_s]))
    own = (settings.signals, ankle_m)
    legs = [compute_leg_signals(conditioned, inside, side, *own) for side in SIDES]
    found = [_find_leg_contacts(leg, settings, unaided, fusion) for leg in legs if leg is not None]
    merged = _merge_sides(found)
    entry = HistoryEntry(
        "events.coarse",
        f"{len(merged)} coarse contacts from rates, jerk and force.",
        settings.model_dump(),
    )
    return Contacts(
        merged.side,
        merged.touchdown_s,
        merged.toe_off_s,
        merged.touchdown_u_s,
        merged.toe_off_u_s,
        merged.evidence,
        (*conditioned.history, entry),
    )


def _find_forward_swings(leg: LegSignals, settings: CoarseSettings) -> IntArray:
    distance = int(settings.shortest_stride_s * leg.rate_hz)
    peaks = find_peaks(leg.swing_radps, settings.least_swing_radps, distance)
    if len(peaks) == 0:
        return np.empty(0, dtype=np.int64)
    rate = leg.swing_radps[peaks]
    fast = float(np.quantile(rate, 0.9))
    return np.asarray(peaks[rate > settings.swing_share * fast], dtype=np.int64)


def _find_cycles(leg: LegSignals, settings: CoarseSettings) -> list[Between]:
    """Where each forward swing slows and where the next begins."""
    peaks = _find_forward_swings(leg, settings)
    found = []
    nexts = np.append(peaks[1:], len(leg.swing_radps))[: len(peaks)]
    for peak, following in zip(peaks, nexts, strict=True):
        between = _mark_one_cycle(leg, int(peak), int(following), settings)
        if between is not None:
            found.append(between)
    return found


def _mark_one_cycle(
    leg: LegSignals, peak: int, following: int, settings: CoarseSettings
) -> Between | None:
    """From one forward swing to the next; None where the foot does not swing again."""
    rate = leg.swing_radps
    longest = peak + int(settings.longest_stride_s * leg.rate_hz)
    slow = np.flatnonzero(rate[peak:following] < settings.slowed_share * rate[peak])
    if len(slow) == 0:
        return None
    slowed = peak + int(slow[0])
    end = following
    if following == len(rate) or following > longest:
        # The last step: after it the leg comes forward slowly, or stays on the ground.
        start = slowed + int(settings.shortest_cycle_s * leg.rate_hz)
        later = rate[start : min(longest, following)]
        if len(later) == 0 or later.max() < settings.last_swing_radps:
            return None
        end = start + int(np.argmax(later))
    back = np.flatnonzero(rate[slowed:end] < 0.0)
    return Between(peak, slowed, slowed + int(back[-1])) if len(back) and back[-1] > 3 else None


def _find_leg_contacts(
    leg: LegSignals, settings: CoarseSettings, unaided: UnaidedSettings, fusion: FusionSettings
) -> Contacts:
    """Contacts of one leg: at most one after each forward swing."""
    cycles = _find_cycles(leg, settings)
    look = settings.marks
    marks = [
        {
            **vars(find_touchdown_marks(leg, cycle, look)),
            **vars(find_toe_off_marks(leg, cycle, look)),
        }
        for cycle in cycles
    ]
    swings = np.array([cycle.swing for cycle in cycles], dtype=np.int64)
    evidence = {
        "swing_rate_radps": leg.swing_radps[swings],
        "swing_s": leg.time_s[swings],
        **{name: np.array([mark[name] for mark in marks], dtype=np.float64) for name in _MARKS},
    }
    events = find_marked_events(evidence, unaided, fusion)
    contacts = Contacts(
        side=np.full(len(cycles), leg.side, dtype="<U5"),
        touchdown_s=events.touchdown_s,
        toe_off_s=events.toe_off_s,
        touchdown_u_s=events.touchdown_u_s,
        toe_off_u_s=events.toe_off_u_s,
        evidence=evidence,
    )
    return contacts.take(events.toe_off_s > events.touchdown_s)


def _merge_sides(parts: list[Contacts]) -> Contacts:
    """Contacts of both sides in order of touchdown."""
    if not parts:
        empty = np.empty(0)
        return Contacts(np.empty(0, dtype="<U5"), empty, empty, empty, empty, {})
    joined = Contacts(
        side=np.concatenate([p.side for p in parts]),
        touchdown_s=np.concatenate([p.touchdown_s for p in parts]),
        toe_off_s=np.concatenate([p.toe_off_s for p in parts]),
        touchdown_u_s=np.concatenate([p.touchdown_u_s for p in parts]),
        toe_off_u_s=np.concatenate([p.toe_off_u_s for p in parts]),
        evidence={
            name: np.concatenate([p.evidence[name] for p in parts]) for name in parts[0].evidence
        },
    )
    return joined.take(np.argsort(joined.touchdown_s, kind="stable"))
