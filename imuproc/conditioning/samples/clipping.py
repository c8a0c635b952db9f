"""Samples at the end of a sensor's range."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.mask_runs import find_mask_runs
from imuproc.files.settings_model import PRACTICE, StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_PEAKS: Final = (
    "chosen on simulated sprints and 10 trials of Fukuchi, Fukuchi & Duarte 2017, clipped at 60 to "
    "90 % of their peaks"
)


class RangeSettings(StageSettings):
    """What is the end of a sensor's range, and what its clipped peaks may hide."""

    near_end_share: float = number(
        0.995,
        (0.5, 1.0),
        "Two samples in a row at this share of the stated range are clipped.",
        PRACTICE,
    )
    at_end_share: float = number(
        0.9995,
        (0.5, 1.0),
        "One sample at this share of the stated range is clipped.",
        "beyond it lie only the last codes of a 12-bit converter",
    )
    least_accel_range_mps2: float = number(
        18.0,
        (1.0, 1000.0),
        "Extremes of an accelerometer smaller than this are not taken for the end of an unstated "
        "range.",
        "no sensor in use has less than 2 g (from memory), less some scale",
    )
    least_gyro_range_radps: float = number(
        4.0,
        (0.1, 100.0),
        "The same for a gyroscope.",
        "no sensor in use has less than 250 deg/s (from memory), less some scale",
    )
    top_steps_ratio: float = number(
        8.0,
        (1.0, 1000.0),
        "A flat top of three samples and more is the end of a range where the signal reaches or "
        "leaves it by more than so many of its own steps from one sample to the next.",
        "a smooth peak falls by fewer: 4 for a parabola",
    )
    longest_peak_s: float = number(
        0.12, (0.0, 1.0), "Clipped peaks of the gyroscope that last longer are not rounded off."
    )
    peak_taken_share: float = number(
        0.85, (0.0, 1.0), "Share that is taken of what a rounded peak has beyond the range.", _PEAKS
    )
    peak_hides_share: float = number(
        0.5,
        (0.0, 2.0),
        "Standard uncertainty of a rounded peak, as a share of what it has beyond the range.",
        _PEAKS,
    )
    peak_hides_radps: float = number(
        0.5, (0.0, 20.0), "What adds to that in every clipped sample.", _PEAKS
    )

    ordered = (("near_end_share", "at_end_share"),)


def find_clipped_samples(
    x: FloatArray, full_scale: float | None, least_range: float, settings: RangeSettings
) -> BoolArray:
    """Which samples were at the end of the range on any axis, shape (n,).

    Parameters as those of :func:`find_clipped_axes`.
    """
    return np.asarray(find_clipped_axes(x, full_scale, least_range, settings).any(axis=1))


def find_clipped_axes(
    x: FloatArray, full_scale: float | None, least_range: float, settings: RangeSettings
) -> BoolArray:
    """Which samples were at the end of the range, axis by axis.

    Where the range is known, two or more samples in a row close to it, or one at its very end. In
    any case three or more in a row that all equal the largest or least value of their
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
    settings : RangeSettings

    Returns
    -------
    ndarray of bool, shape (n, k)
    """
    clipped = np.zeros((x.shape[1], len(x)), dtype=bool)  # by axis: fast to work on
    near, at = settings.near_end_share, settings.at_end_share
    for signal, own in zip(np.where(np.isfinite(x), x, 0.0).T, clipped, strict=True):
        extremes = signal.max(initial=0.0), signal.min(initial=0.0)
        if full_scale is not None and max(map(abs, extremes)) >= near * full_scale:
            size = np.abs(signal)
            own |= keep_long_runs(size >= near * full_scale, 2) | (size >= at * full_scale)
        for extreme in extremes:
            if abs(extreme) >= least_range:
                flat = keep_long_runs(signal == extreme, 3)
                if flat.any():
                    own |= _keep_steep(signal, flat, settings.top_steps_ratio)
    return clipped.T


def _keep_steep(signal: FloatArray, flat: BoolArray, steps: float) -> BoolArray:
    """Flat tops that the signal reaches or leaves by more than a few of its own steps."""
    change = np.abs(np.diff(signal))
    step = np.diff(np.unique(signal)).min(initial=np.inf)
    steep = np.zeros(len(flat), dtype=bool)
    for first, after in zip(*find_mask_runs(flat), strict=True):  # over flat tops
        before, behind = change[max(first - 3, 0) : first], change[after - 1 : after + 2]
        slope = max(before.max(initial=0.0), behind.max(initial=0.0))
        steep[first:after] = slope > steps * step
    return steep


def restore_rate(
    time_s: FloatArray,
    gyro_radps: FloatArray,
    clipped: BoolArray,
    unseen_sd_radps: float,
    settings: RangeSettings,
) -> tuple[FloatArray, FloatArray]:
    """Angular velocity with its clipped peaks rounded off, and what they may still hide.

    A clipped peak goes on as it came and comes back as it leaves: the cubic that meets both ends
    with their slopes, and most of what it has beyond the range: about right for the half sines of
    simulated sprints, too much for the flat tops of slow running (10 trials, Fukuchi et al. 2017).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    gyro_radps : ndarray, shape (n, 3)
    clipped : ndarray of bool, shape (n, 3)
    unseen_sd_radps : float
        What a sample may hide where nothing tells the peak's shape.
    settings : RangeSettings

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
        for first, after in zip(*find_mask_runs(clipped[:, axis]), strict=True):  # over peaks
            peak = slice(int(first), int(after))
            beyond = _estimate_overshoot(time_s, gyro_radps[:, axis], peak, settings.longest_peak_s)
            if beyond is None:
                hidden[peak, axis] = unseen_sd_radps
                continue
            out[peak, axis] += settings.peak_taken_share * beyond
            of_beyond = settings.peak_hides_share * np.abs(beyond)
            hidden[peak, axis] = of_beyond + settings.peak_hides_radps
    return out, np.asarray(np.sqrt(np.square(hidden).sum(axis=1)))


def _estimate_overshoot(
    time_s: FloatArray, rate: FloatArray, peak: slice, longest_s: float
) -> FloatArray | None:
    """How far a rounded peak goes beyond its clipped samples; None where nothing tells."""
    first, after = peak.start - 1, peak.stop
    if first < 2 or after + 2 >= len(rate):
        return None
    span_s = time_s[after] - time_s[first]
    ends = rate[[first - 2, first, after, after + 2]]
    if span_s > longest_s or not np.isfinite(ends).all():
        return None
    rise = (ends[1] - ends[0]) / (time_s[first] - time_s[first - 2]) * span_s
    fall = (ends[3] - ends[2]) / (time_s[after + 2] - time_s[after]) * span_s
    share = (time_s[peak] - time_s[first]) / span_s
    chord = ends[2] - ends[1]
    bend = (1.0 - share) * (rise - chord) - share * (fall - chord)
    cubic = ends[1] + share * chord + share * (1.0 - share) * bend
    sign = np.sign(rate[peak])
    return np.asarray(sign * np.maximum(sign * (cubic - rate[peak]), 0.0))


def keep_long_runs(mask: BoolArray, least: int) -> BoolArray:
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
