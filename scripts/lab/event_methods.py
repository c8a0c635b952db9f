"""Published rules for touchdown and toe-off, as plain array functions, for comparison.

Every rule reads signals in segment axes (x forward, y left, z up in standing) and marks one
touchdown and one toe-off in each cycle, from one forward swing of a leg to its next. Written from
the published descriptions; where those leave a number open it is named here. Times between samples
come from a parabola or a straight line, for all rules alike. A mark that a cycle does not have is
NaN.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.crossings import find_crossings
from imuproc.dsp.filters import choose_odd_width, differentiate, low_pass, moving_mean
from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.rotations import norm, quat_rotate

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Events = tuple[FloatArray, FloatArray]
"""Touchdown and toe-off of each cycle in s, shape (m,) each."""
Rule = Callable[[int, int, int], tuple[float, float]]
"""Start, end and rest of a cycle (samples) to its two marks in s."""

RATE_CUTOFF_HZ: Final = 30.0
"""Low-pass of angular rates: the middle of what running studies use (facts of the trade)."""
ACCEL_CUTOFF_HZ: Final = 60.0
"""Low-pass of accelerations: in the 50 to 100 Hz that are in use for the shank (same)."""
REST_WINDOW_S: Final = 0.04


def smooth_signal(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    """Zero-phase low-pass; at low sampling rates the cut-off is lowered to 0.4 times the rate."""
    return low_pass(x, min(cutoff_hz, 0.4 * rate_hz), rate_hz)


def _find_vertex_s(time_s: FloatArray, x: FloatArray, at: int) -> float:
    """Time of the extremum at a sample, between samples by a parabola through three."""
    if not 0 < at < len(x) - 1:
        return float(time_s[at])
    bend = x[at - 1] - 2.0 * x[at] + x[at + 1]
    shift = 0.5 * (x[at - 1] - x[at + 1]) / bend if bend != 0.0 else 0.0
    return float(time_s[at] + np.clip(shift, -0.5, 0.5) * (time_s[1] - time_s[0]))


def _find_highest_s(time_s: FloatArray, x: FloatArray, low: int, high: int) -> float:
    """Time of the highest value from sample ``low`` up to ``high``; NaN if there is none."""
    low, high = max(low, 0), min(high, len(x))
    if high - low < 3:
        return float("nan")
    return _find_vertex_s(time_s, x, low + int(np.argmax(x[low:high])))


def _apply_to_cycles(cycles: IntArray, rests: IntArray, rule: Rule) -> Events:
    found = [rule(int(a), int(b), int(r)) for (a, b), r in zip(cycles, rests, strict=True)]
    marks = np.array(found, dtype=np.float64).reshape(-1, 2)
    return marks[:, 0], marks[:, 1]


def _find_halves(cycles: IntArray) -> IntArray:
    return np.asarray(cycles.sum(axis=1) // 2)


def find_foot_rate_minima(
    time_s: FloatArray, pitch_rate_radps: FloatArray, cycles: IntArray, rate_hz: float
) -> Events:
    """Foot pitch rate: least in the first half of the cycle, and least in the second half.

    After touchdown the foot is put down (toe falling), before toe-off the heel rises (toe falling
    against the heel). Falbriard, Meyer, Mariani, Millet & Aminian 2018, Front Physiol 9:610.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    pitch_rate_radps : ndarray, shape (n,)
        Toe up positive.
    cycles : ndarray of int, shape (m, 2)
        Samples of mid-swing and of the next mid-swing.
    rate_hz : float

    Returns
    -------
    Events
    """
    fall = -smooth_signal(pitch_rate_radps, RATE_CUTOFF_HZ, rate_hz)

    def mark_cycle(start: int, end: int, middle: int) -> tuple[float, float]:
        return _find_highest_s(time_s, fall, start, middle), _find_highest_s(
            time_s, fall, middle, end
        )

    return _apply_to_cycles(cycles, _find_halves(cycles), mark_cycle)


def find_foot_rate_minima_in_stance(
    time_s: FloatArray,
    pitch_rate_radps: FloatArray,
    cycles: IntArray,
    stances: IntArray,
    rate_hz: float,
) -> Events:
    """Foot pitch rate: its two minima of a cycle, parted between them and not at half the cycle.

    The push-off of a run falls about half the cycle, so that a cut there can go through it. Our own
    change, which gives the rule its best chance: parted where the rate is highest in the middle
    half of the stance.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    pitch_rate_radps : ndarray, shape (n,)
        Toe up positive.
    cycles : ndarray of int, shape (m, 2)
    stances : ndarray of int, shape (m, 2)
        Rough first and last samples.
    rate_hz : float

    Returns
    -------
    Events
    """
    rate = smooth_signal(pitch_rate_radps, RATE_CUTOFF_HZ, rate_hz)
    parts = _find_least_in_middle(-rate, stances)

    def mark_cycle(start: int, end: int, middle: int) -> tuple[float, float]:
        return _find_highest_s(time_s, -rate, start, middle), _find_highest_s(
            time_s, -rate, middle, end
        )

    return _apply_to_cycles(cycles, parts, mark_cycle)


def find_stillest(
    gyro_radps: FloatArray, accel_mps2: FloatArray, stances: IntArray, rate_hz: float
) -> IntArray:
    """Sample at which a foot is most at rest in the middle half of each stance, shape (m,).

    Least mean square over 40 ms of angular rate and of the force's size off gravity, as detectors
    of zero velocity weigh them (Skog, Händel, Nilsson & Rantakokko 2010, IEEE Trans Biomed Eng
    57:2657); 1 rad/s counts as 1 m/s².

    Parameters
    ----------
    gyro_radps, accel_mps2 : ndarray, shape (n, 3)
    stances : ndarray of int, shape (m, 2)
        Rough first and last samples.
    rate_hz : float

    Returns
    -------
    ndarray of int, shape (m,)
    """
    off_gravity = norm(accel_mps2) - STANDARD_GRAVITY_MPS2
    motion = norm(gyro_radps) ** 2 + off_gravity**2
    motion = moving_mean(motion, choose_odd_width(REST_WINDOW_S, rate_hz))
    return _find_least_in_middle(motion, stances)


def _find_least_in_middle(x: FloatArray, stances: IntArray) -> IntArray:
    """Sample of the least value in the middle half of each stance, shape (m,)."""
    found = []
    for start, end in stances:
        low, high = start + (end - start) // 4, end - (end - start) // 4
        found.append(low + int(np.argmin(x[low : max(high, low + 1)])))
    return np.array(found, dtype=np.int64)


def _find_swing_end(rate: FloatArray, start: int, end: int) -> int | None:
    """First sample at which the forward swing's rate is no longer positive."""
    back = np.flatnonzero(rate[start:end] <= 0.0)
    return start + int(back[0]) if len(back) else None


def find_shank_zero_and_minimum(
    time_s: FloatArray, pitch_rate_radps: FloatArray, cycles: IntArray, rate_hz: float
) -> Events:
    """Shank rate: falling through zero after the forward swing; its least value before the next.

    Common practice, no single source: the shank stops swinging forward about touchdown and folds
    back fastest about toe-off.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    pitch_rate_radps : ndarray, shape (n,)
        Positive in the forward swing.
    cycles : ndarray of int, shape (m, 2)
    rate_hz : float

    Returns
    -------
    Events
    """
    rate = smooth_signal(pitch_rate_radps, RATE_CUTOFF_HZ, rate_hz)

    def mark_cycle(start: int, end: int, middle: int) -> tuple[float, float]:
        part = slice(start, end)
        zero = find_crossings(time_s[part], rate[part], 0.0, "falling")
        back = _find_swing_end(rate, start, end)
        if len(zero) == 0 or back is None:
            return float("nan"), float("nan")
        return float(zero[0]), _find_highest_s(time_s, -rate, back, end)

    return _apply_to_cycles(cycles, _find_halves(cycles), mark_cycle)


def find_shank_two_minima(
    time_s: FloatArray, pitch_rate_radps: FloatArray, cycles: IntArray, rate_hz: float
) -> Events:
    """Shank rate: the first minimum after the forward swing, and the last before the next one.

    Aminian, Najafi, Büla, Leyvraz & Robert 2002, J Biomech 35:689 (walking; from memory): the two
    negative peaks on both sides of the swing's positive peak. The first is the first local
    minimum below zero within the first half of the cycle, the last the least in the second half.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    pitch_rate_radps : ndarray, shape (n,)
        Positive in the forward swing.
    cycles : ndarray of int, shape (m, 2)
    rate_hz : float

    Returns
    -------
    Events
    """
    rate = smooth_signal(pitch_rate_radps, RATE_CUTOFF_HZ, rate_hz)

    def mark_cycle(start: int, end: int, middle: int) -> tuple[float, float]:
        part = rate[start:middle]
        turns = np.flatnonzero(
            (part[1:-1] < 0.0) & (part[1:-1] <= part[:-2]) & (part[1:-1] < part[2:])
        )
        down = (
            _find_vertex_s(time_s, rate, start + 1 + int(turns[0])) if len(turns) else float("nan")
        )
        return down, _find_highest_s(time_s, -rate, middle, end)

    return _apply_to_cycles(cycles, _find_halves(cycles), mark_cycle)


def find_shank_acceleration_peaks(
    time_s: FloatArray, accel_mps2: FloatArray, stances: IntArray, rate_hz: float
) -> Events:
    """Shank acceleration: peak of the resultant at touchdown, least along the shank at toe-off.

    Of the kind of Purcell et al. 2006 (Proc SPIE 6036; touchdown at a peak of the resultant, as
    tabled by Mendicino et al. 2025, Appl Sci 15:10250) and Schmidt et al. 2016 (Procedia Eng
    147:747; minima). The swing has larger peaks of its own, so both are sought near the stance:
    see :func:`_find_near_stance`.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    accel_mps2 : ndarray, shape (n, 3)
    stances : ndarray of int, shape (m, 2)
        Rough first and last samples.
    rate_hz : float

    Returns
    -------
    Events
    """
    accel = smooth_signal(accel_mps2, ACCEL_CUTOFF_HZ, rate_hz)
    return _find_near_stance(time_s, norm(accel), -accel[:, 2], stances)


def find_foot_acceleration_peaks(
    time_s: FloatArray, accel_mps2: FloatArray, stances: IntArray, rate_hz: float
) -> Events:
    """Foot acceleration off the sole: steepest rise at touchdown, least value at toe-off.

    The foot's linear acceleration is the signal most used (review: Mendicino et al. 2025, Appl Sci
    15:10250). Of its features on real running (axes, resultant, jerk; peaks and troughs) these two
    scattered least, so that the kind is shown at its best.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    accel_mps2 : ndarray, shape (n, 3)
    stances : ndarray of int, shape (m, 2)
        Rough first and last samples.
    rate_hz : float

    Returns
    -------
    Events
    """
    accel = smooth_signal(accel_mps2, ACCEL_CUTOFF_HZ, rate_hz)[:, 2]
    return _find_near_stance(time_s, differentiate(accel, rate_hz), -accel, stances)


def _find_near_stance(
    time_s: FloatArray, down: FloatArray, off: FloatArray, stances: IntArray
) -> Events:
    """Peaks of one signal about the start of each rough stance and of another about its end.

    Touchdown is sought from 30 % of the stance's length before it until its middle, toe-off from
    the middle until as much after it.
    """

    def mark_cycle(start: int, end: int, middle: int) -> tuple[float, float]:
        beside = round(0.3 * (end - start))
        return (
            _find_highest_s(time_s, down, start - beside, middle),
            _find_highest_s(time_s, off, middle, end + beside),
        )

    return _apply_to_cycles(stances, _find_halves(stances), mark_cycle)


def estimate_foot_speed(
    quat_wxyz: FloatArray,
    accel_mps2: FloatArray,
    rests: IntArray,
    rate_hz: float,
    gravity_mps2: float,
) -> FloatArray:
    """Speed of a foot sensor, taken to be zero at given instants, in m/s, shape (n,).

    The velocity that is left over at each instant is taken off in a straight line from one to the
    next (zero-velocity updates: e.g. Skog, Händel, Nilsson & Rantakokko 2010, IEEE Trans Biomed Eng
    57:2657).

    Parameters
    ----------
    quat_wxyz : ndarray, shape (n, 4)
        Turns segment axes into world axes (z up).
    accel_mps2 : ndarray, shape (n, 3)
        Specific force, segment axes.
    rests : ndarray of int, shape (m,)
        Samples at which the foot is taken to be at rest, ascending.
    rate_hz, gravity_mps2 : float

    Returns
    -------
    ndarray, shape (n,)
    """
    force = quat_rotate(quat_wxyz, accel_mps2) - np.array([0.0, 0.0, gravity_mps2])
    velocity = cumulative_integral(force, rate_hz)
    left = [np.interp(np.arange(len(velocity)), rests, velocity[rests, k]) for k in range(3)]
    return norm(velocity - np.stack(left, axis=-1))


def find_slow_foot(
    time_s: FloatArray,
    speed_mps: FloatArray,
    rests: IntArray,
    cycles: IntArray,
    threshold_mps: float,
) -> Events:
    """Contact while the foot is slower than a fixed speed, about its stillest instant.

    Fixed limits on the speed of the foot: Ghoussayni, Stevens, Durham & Ewins 2004, Gait Posture
    20:266 (markers, walking; from memory).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    speed_mps : ndarray, shape (n,)
    rests : ndarray of int, shape (m,)
        One in each cycle.
    cycles : ndarray of int, shape (m, 2)
    threshold_mps : float

    Returns
    -------
    Events
    """

    def mark_cycle(start: int, end: int, rest: int) -> tuple[float, float]:
        before, after = slice(start, rest + 1), slice(rest, end + 1)
        downs = find_crossings(time_s[before], speed_mps[before], threshold_mps, "falling")
        offs = find_crossings(time_s[after], speed_mps[after], threshold_mps, "rising")
        return (
            float(downs[-1]) if len(downs) else float("nan"),
            float(offs[0]) if len(offs) else float("nan"),
        )

    return _apply_to_cycles(cycles, rests, mark_cycle)
