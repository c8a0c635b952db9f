"""Coarse contacts from signals alone, good to about 15 ms: where to look for rest in stance.

Each forward swing of a leg (a peak of sagittal rate) is followed by one contact. Touchdown shakes
the segment (largest jerk between the end of the swing and push-off); push-off ends where the ankle
has stopped extending, which the difference of foot and shank rate shows, or, with one sensor only,
where its own rate says so.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import Conditioned, ConditionedRecording, Interval
from imuproc.core.sites import SIDES, Side, foot_of, shank_of
from imuproc.dsp.filters import derivative, low_pass

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_COARSE_U_S = 0.015
_SHANK_PUSH_S = 0.05


@dataclass(frozen=True)
class CoarseSettings:
    """How coarse contacts are found.

    Parameters
    ----------
    swing_cutoff_hz, push_cutoff_hz, jerk_cutoff_hz : float
        Low-pass for the forward swing, the push-off and the touchdown jerk.
    least_swing_radps : float
        Least peak rate of a forward swing.
    swing_share : float
        Least peak rate as a share of the run's fast swings (their 90 % quantile).
    longest_stride_s : float
        Longest time between two forward swings of one leg.
    push_from, push_to : float
        Where the end of push-off may lie, as parts of the stride from forward swing to the next.
    """

    swing_cutoff_hz: float = 10.0
    push_cutoff_hz: float = 25.0
    jerk_cutoff_hz: float = 40.0
    least_swing_radps: float = 3.5
    swing_share: float = 0.25
    longest_stride_s: float = 1.2
    push_from: float = 0.25
    push_to: float = 0.78


def coarse_contacts(
    conditioned: ConditionedRecording, run: Interval, settings: CoarseSettings
) -> Contacts:
    """Contacts of both feet within one run.

    Parameters
    ----------
    conditioned : ConditionedRecording
        Signals in segment axes.
    run : Interval
        The run on the recording's clock in s.
    settings : CoarseSettings

    Returns
    -------
    Contacts
        Evidence: ``swing_rate_radps`` (the forward swing before the contact), ``jerk_mps3`` (at
        touchdown), ``push_rate_radps`` and ``push_s`` (strongest push-off and when).
    """
    inside = slice(*np.searchsorted(conditioned.time_s, [run.start_s, run.end_s]))
    legs = [_leg_signals(conditioned, inside, side, settings) for side in SIDES]
    found = [_leg_contacts(leg, settings) for leg in legs if leg is not None]
    merged = _merge(found)
    entry = HistoryEntry(
        "events.coarse", f"{len(merged)} coarse contacts from rates and jerk.", vars(settings)
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


@dataclass(frozen=True, eq=False)
class _LegSignals:
    """What the search looks at, for one leg.

    ``swing`` rises in the forward swing, ``push`` is most negative when the push-off is strongest,
    ``jerk`` shakes at touchdown; all shape (n,) at ``rate_hz``.
    """

    side: Side
    rate_hz: float
    time_s: FloatArray
    swing: FloatArray
    push: FloatArray
    jerk: FloatArray


def _leg_signals(
    conditioned: ConditionedRecording, inside: slice, side: Side, settings: CoarseSettings
) -> _LegSignals | None:
    foot = conditioned.segments.get(foot_of(side))
    shank = conditioned.segments.get(shank_of(side))
    leader, shaken = shank or foot, foot or shank
    if leader is None or shaken is None:
        return None
    rate_hz = conditioned.rate_hz

    def smooth(x: FloatArray, cutoff_hz: float) -> FloatArray:
        return low_pass(x, min(cutoff_hz, 0.4 * rate_hz), rate_hz)

    swing = _pitch_rate(leader, inside)
    if foot is None:  # the shank is pulled forward when the push ends: its rate falls fastest
        push = derivative(smooth(swing, settings.push_cutoff_hz), rate_hz) * _SHANK_PUSH_S
    else:  # with both, the ankle's own rate
        own = _pitch_rate(foot, inside)
        push = smooth(own if shank is None else own - swing, settings.push_cutoff_hz)
    accel = smooth(shaken.accel_mps2[inside], settings.jerk_cutoff_hz)
    return _LegSignals(
        side=side,
        rate_hz=rate_hz,
        time_s=conditioned.time_s[inside],
        swing=smooth(swing, settings.swing_cutoff_hz),
        push=push,
        jerk=np.linalg.norm(derivative(accel, rate_hz), axis=1),
    )


def _pitch_rate(segment: Conditioned, inside: slice) -> FloatArray:
    """Sagittal rate, toe-up or lean-back positive."""
    return np.asarray(-segment.gyro_radps[inside, 1])


def _forward_swings(leg: _LegSignals, settings: CoarseSettings) -> IntArray:
    peaks, _ = find_peaks(
        leg.swing, height=settings.least_swing_radps, distance=max(1, int(0.25 * leg.rate_hz))
    )
    if len(peaks) == 0:
        return np.empty(0, dtype=np.int64)
    fast = float(np.quantile(leg.swing[peaks], 0.9))
    return np.asarray(peaks[leg.swing[peaks] > settings.swing_share * fast], dtype=np.int64)


def _leg_contacts(leg: _LegSignals, settings: CoarseSettings) -> Contacts:
    """Contacts of one leg: at most one after each forward swing."""
    peaks = _forward_swings(leg, settings)
    stride = float(np.median(np.diff(peaks))) if len(peaks) > 1 else 0.6 * leg.rate_hz
    following = np.append(peaks[1:], (peaks[-1:] + 1.3 * stride).astype(np.int64))
    length = np.minimum(following, len(leg.swing)) - peaks
    length[length > settings.longest_stride_s * leg.rate_hz] = int(1.3 * stride)
    ends = np.minimum(peaks + length, len(leg.swing))
    found = [_one_contact(leg, int(a), int(b), settings) for a, b in zip(peaks, ends, strict=True)]
    rows = np.array([row for row in found if row is not None], dtype=np.int64).reshape(-1, 4)
    u_s = np.full(len(rows), _COARSE_U_S)
    return Contacts(
        side=np.full(len(rows), leg.side, dtype="<U5"),
        touchdown_s=leg.time_s[rows[:, 1]],
        toe_off_s=leg.time_s[rows[:, 3]],
        touchdown_u_s=u_s,
        toe_off_u_s=u_s,
        evidence={
            "swing_rate_radps": leg.swing[rows[:, 0]],
            "jerk_mps3": leg.jerk[rows[:, 1]],
            "push_rate_radps": leg.push[rows[:, 2]],
            "push_s": leg.time_s[rows[:, 2]],
        },
    )


def _one_contact(
    leg: _LegSignals, peak: int, end: int, settings: CoarseSettings
) -> tuple[int, int, int, int] | None:
    """Samples of the forward swing, touchdown, strongest push and toe-off; None if there is none."""
    length, lead = end - peak, int(0.03 * leg.rate_hz)
    slowed = peak + int(np.argmax(leg.swing[peak:end] < 0.1 * leg.swing[peak]))
    low = max(slowed + lead, peak + int(settings.push_from * length))
    high = peak + int(settings.push_to * length)
    if high - low < 3 or slowed == peak:
        return None
    strongest = low + int(np.argmin(leg.push[low:high]))
    over = leg.push[strongest:end] > 0.15 * leg.push[strongest]
    toe_off = strongest + int(np.argmax(over)) if over.any() else end - 1
    earliest, latest = max(peak, slowed - lead), strongest - lead
    if latest - earliest < 2 or leg.push[strongest] >= 0.0:
        return None
    touchdown = earliest + int(np.argmax(leg.jerk[earliest:latest]))
    return peak, touchdown, strongest, toe_off


def _merge(parts: list[Contacts]) -> Contacts:
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
