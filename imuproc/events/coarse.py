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
        touchdown), ``push_rate_radps`` (largest rate of push-off).
    """
    inside = slice(*np.searchsorted(conditioned.time_s, [run.start_s, run.end_s]))
    found = []
    for side in SIDES:
        foot = conditioned.segments.get(foot_of(side))
        shank = conditioned.segments.get(shank_of(side))
        if foot is not None or shank is not None:
            found.append(_side_contacts(conditioned, inside, side, (foot, shank), settings))
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


def _pitch_rate(segment: Conditioned, inside: slice) -> FloatArray:
    """Sagittal rate, toe-up or lean-back positive."""
    return np.asarray(-segment.gyro_radps[inside, 1])


def _forward_swings(rate: FloatArray, rate_hz: float, settings: CoarseSettings) -> IntArray:
    smooth = low_pass(rate, min(settings.swing_cutoff_hz, 0.4 * rate_hz), rate_hz)
    peaks, _ = find_peaks(
        smooth, height=settings.least_swing_radps, distance=max(1, int(0.25 * rate_hz))
    )
    if len(peaks) == 0:
        return np.empty(0, dtype=np.int64)
    fast = float(np.quantile(smooth[peaks], 0.9))
    return np.asarray(peaks[smooth[peaks] > settings.swing_share * fast], dtype=np.int64)


def _side_contacts(
    conditioned: ConditionedRecording,
    inside: slice,
    side: Side,
    leg: tuple[Conditioned | None, Conditioned | None],
    settings: CoarseSettings,
) -> Contacts:
    foot, shank = leg
    rate_hz, time_s = conditioned.rate_hz, conditioned.time_s[inside]
    leader = shank if shank is not None else foot
    shaken = foot if foot is not None else shank
    if leader is None or shaken is None:
        raise ValueError(f"no sensor on the {side} leg")
    swing = _pitch_rate(leader, inside)
    push = swing if foot is None else _pitch_rate(foot, inside)
    if foot is not None and shank is not None:
        push = push - swing
    peaks = _forward_swings(swing, rate_hz, settings)
    smooth = low_pass(swing, min(settings.swing_cutoff_hz, 0.4 * rate_hz), rate_hz)
    push = low_pass(push, min(settings.push_cutoff_hz, 0.4 * rate_hz), rate_hz)
    if foot is None:  # the shank is pulled forward when the push ends: its rate falls fastest
        push = derivative(push, rate_hz) * 0.05
    accel = low_pass(
        shaken.accel_mps2[inside], min(settings.jerk_cutoff_hz, 0.4 * rate_hz), rate_hz
    )
    jerk = np.linalg.norm(derivative(accel, rate_hz), axis=1)
    rows = _rows(peaks, smooth, push, jerk, rate_hz, settings)
    return _as_contacts(side, time_s, rows, peaks, smooth, jerk, push)


def _rows(
    peaks: IntArray,
    swing: FloatArray,
    push: FloatArray,
    jerk: FloatArray,
    rate_hz: float,
    settings: CoarseSettings,
) -> IntArray:
    """Sample indices (forward swing, touchdown, largest push, toe-off) of each contact, (m, 4)."""
    rows = []
    stride = float(np.median(np.diff(peaks))) if len(peaks) > 1 else 0.6 * rate_hz
    for k, peak in enumerate(peaks):
        following = peaks[k + 1] if k + 1 < len(peaks) else peak + 1.3 * stride
        length = int(min(following, len(swing)) - peak)
        if length > settings.longest_stride_s * rate_hz:
            length = int(1.3 * stride)
        end = min(peak + length, len(swing))
        row = _one_contact(int(peak), end, swing, push, jerk, rate_hz, settings)
        rows += [] if row is None else [row]
    return np.array(rows, dtype=np.int64).reshape(-1, 4)


def _one_contact(  # noqa: PLR0913 - private; the seven belong together
    peak: int,
    end: int,
    swing: FloatArray,
    push: FloatArray,
    jerk: FloatArray,
    rate_hz: float,
    settings: CoarseSettings,
) -> tuple[int, int, int, int] | None:
    length = end - peak
    slowed = peak + int(np.argmax(swing[peak:end] < 0.1 * swing[peak]))
    low = max(slowed + int(0.03 * rate_hz), peak + int(settings.push_from * length))
    high = peak + int(settings.push_to * length)
    if high - low < 3 or slowed == peak:
        return None
    largest = low + int(np.argmin(push[low:high]))
    over = push[largest:end] > 0.15 * push[largest]
    toe_off = largest + int(np.argmax(over)) if over.any() else end - 1
    earliest = max(peak, slowed - int(0.03 * rate_hz))
    latest = largest - int(0.03 * rate_hz)
    if latest - earliest < 2 or push[largest] >= 0.0:
        return None
    touchdown = earliest + int(np.argmax(jerk[earliest:latest]))
    return peak, touchdown, largest, toe_off


_COARSE_U_S = 0.015


def _as_contacts(  # noqa: PLR0913 - private; the seven belong together
    side: Side,
    time_s: FloatArray,
    rows: IntArray,
    peaks: IntArray,
    swing: FloatArray,
    jerk: FloatArray,
    push: FloatArray,
) -> Contacts:
    u_s = np.full(len(rows), _COARSE_U_S)
    return Contacts(
        side=np.full(len(rows), side, dtype="<U5"),
        touchdown_s=time_s[rows[:, 1]],
        toe_off_s=time_s[rows[:, 3]],
        touchdown_u_s=u_s,
        toe_off_u_s=u_s,
        evidence={
            "swing_rate_radps": swing[rows[:, 0]],
            "jerk_mps3": jerk[rows[:, 1]],
            "push_rate_radps": push[rows[:, 2]],
        },
    )


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
