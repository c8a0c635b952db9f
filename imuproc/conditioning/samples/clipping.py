"""Samples at the end of a sensor's range."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.stretches import stretches_of

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

NEAR_END: Final = 0.995
"""Two samples in a row at this share of the range are clipped; common practice, no source."""
AT_END: Final = 0.9995
"""One sample at this share is: beyond it lie only the last codes of a 12-bit converter."""
LEAST_ACCEL_RANGE_MPS2: Final = 18.0
LEAST_GYRO_RANGE_RADPS: Final = 4.0
"""No sensor in use has a smaller range than 2 g or 250 deg/s (from memory), less some scale."""
_STEPS_OF_A_TOP: Final = 8.0
"""Within three samples of a flat top of three and more a smooth peak falls by fewer of its own
steps from one sample to the next (worked out for a parabola: 4)."""
_LONGEST_PEAK_S: Final = 0.12
_TAKEN: Final = 0.85
_HIDES: Final = 0.5
_HIDES_AT_LEAST_RADPS: Final = 0.5


def clipped_samples(x: FloatArray, full_scale: float | None, least_range: float) -> BoolArray:
    """Which samples were at the end of the range on any axis, shape (n,).

    Parameters as those of :func:`clipped_axes`.
    """
    return np.asarray(clipped_axes(x, full_scale, least_range).any(axis=1))


def clipped_axes(x: FloatArray, full_scale: float | None, least_range: float) -> BoolArray:
    """Which samples were at the end of the range, axis by axis.

    Where the range is known, two or more samples in a row within 0.5 % of it, or one at its very
    end. In any case three or more in a row that all equal the largest or least value of their
    axis, and that the signal reaches or leaves by more than a few of its own steps: a signal with
    noise does not stand still at its own extreme, and a smooth one that is rounded to steps goes
    up to its top by one or two of them.

    Parameters
    ----------
    x : ndarray, shape (n, k)
        Samples of one sensor; NaN is not clipped.
    full_scale : float or None
        Range as the layout states it, in the unit of ``x``.
    least_range : float
        Extremes smaller than this are not taken for the end of an unstated range.

    Returns
    -------
    ndarray of bool, shape (n, k)
    """
    clipped = np.zeros((x.shape[1], len(x)), dtype=bool)  # by axis: fast to work on
    for signal, own in zip(np.where(np.isfinite(x), x, 0.0).T, clipped, strict=True):
        extremes = signal.max(initial=0.0), signal.min(initial=0.0)
        if full_scale is not None and max(map(abs, extremes)) >= NEAR_END * full_scale:
            size = np.abs(signal)
            own |= in_runs(size >= NEAR_END * full_scale, 2) | (size >= AT_END * full_scale)
        for extreme in extremes:
            if abs(extreme) >= least_range:
                flat = in_runs(signal == extreme, 3)
                if flat.any():
                    own |= _steep(signal, flat)
    return clipped.T


def _steep(signal: FloatArray, flat: BoolArray) -> BoolArray:
    """Flat tops that the signal reaches or leaves by more than a few of its own steps."""
    change = np.abs(np.diff(signal))
    step = np.diff(np.unique(signal)).min(initial=np.inf)
    steep = np.zeros(len(flat), dtype=bool)
    for first, after in zip(*stretches_of(flat), strict=True):  # over flat tops
        before, behind = change[max(first - 3, 0) : first], change[after - 1 : after + 2]
        slope = max(before.max(initial=0.0), behind.max(initial=0.0))
        steep[first:after] = slope > _STEPS_OF_A_TOP * step
    return steep


def restored_rate(
    time_s: FloatArray, gyro_radps: FloatArray, clipped: BoolArray, unknown_radps: float
) -> tuple[FloatArray, FloatArray]:
    """Angular velocity with its clipped peaks rounded off, and what they may still hide.

    A clipped peak goes on as it came and comes back as it leaves: the cubic that meets both ends
    with their slopes, and most of what it has beyond the range: about right for the half sines of
    simulated sprints, too much for the flat tops of slow running (10 trials, Fukuchi et al. 2017).
    The share that is taken and what it may hide were chosen on these runs, clipped at 60 to 90 %
    of their peaks; no others have been tried.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    gyro_radps : ndarray, shape (n, 3)
    clipped : ndarray of bool, shape (n, 3)
    unknown_radps : float
        What a sample may hide where nothing tells the peak's shape.

    Returns
    -------
    gyro_radps : ndarray, shape (n, 3)
    hidden_radps : ndarray, shape (n,)
        Standard uncertainty of clipped samples, alike over each peak; 0 elsewhere.
    """
    if not clipped.any():
        return gyro_radps, np.zeros(len(gyro_radps))
    out, hidden = gyro_radps.copy(), np.zeros(gyro_radps.shape)
    for axis in range(gyro_radps.shape[1]):
        for first, after in zip(*stretches_of(clipped[:, axis]), strict=True):  # over peaks
            peak = slice(int(first), int(after))
            beyond = _beyond(time_s, gyro_radps[:, axis], peak)
            if beyond is None:
                hidden[peak, axis] = unknown_radps
                continue
            out[peak, axis] += _TAKEN * beyond
            hidden[peak, axis] = _HIDES * np.abs(beyond) + _HIDES_AT_LEAST_RADPS
    return out, np.asarray(np.sqrt(np.square(hidden).sum(axis=1)))


def _beyond(time_s: FloatArray, rate: FloatArray, peak: slice) -> FloatArray | None:
    """How far a rounded peak goes beyond its clipped samples; None where nothing tells."""
    first, after = peak.start - 1, peak.stop
    if first < 2 or after + 2 >= len(rate):
        return None
    span_s = time_s[after] - time_s[first]
    ends = rate[[first - 2, first, after, after + 2]]
    if span_s > _LONGEST_PEAK_S or not np.isfinite(ends).all():
        return None
    rise = (ends[1] - ends[0]) / (time_s[first] - time_s[first - 2]) * span_s
    fall = (ends[3] - ends[2]) / (time_s[after + 2] - time_s[after]) * span_s
    share = (time_s[peak] - time_s[first]) / span_s
    chord = ends[2] - ends[1]
    bend = (1.0 - share) * (rise - chord) - share * (fall - chord)
    cubic = ends[1] + share * chord + share * (1.0 - share) * bend
    sign = np.sign(rate[peak])
    return np.asarray(sign * np.maximum(sign * (cubic - rate[peak]), 0.0))


def in_runs(mask: BoolArray, least: int) -> BoolArray:
    """Keep only the True samples that stand in runs of at least ``least``, shape (n,)."""
    rows = len(mask) - least + 1
    out = np.zeros_like(mask)
    if rows <= 0:
        return out
    whole = mask[:rows].copy()
    for shift in range(1, least):
        whole &= mask[shift : shift + rows]
    for shift in range(least):
        out[shift : shift + rows] |= whole
    return out
