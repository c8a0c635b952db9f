"""Zero-phase low-pass, derivative, smoothing and moving statistics, all along axis 0."""

from functools import lru_cache
from math import atan, ceil, isfinite, pi, prod, tan

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.butterworth import filter_butterworth
from imuproc.dsp.mask_runs import list_mask_slices

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def correct_cutoff_hz(cutoff_hz: float, rate_hz: float, passes: int = 2) -> float:
    """Cut-off to design a second-order Butterworth for, so that several passes meet ``cutoff_hz``.

    Each pass lowers the -3 dB point, so the design frequency is raised by 1/C,
    C = (2^(1/passes) - 1)^(1/4), on the warped axis of the bilinear transform.

    Parameters
    ----------
    cutoff_hz : float
        Wanted -3 dB frequency after all passes, in Hz; above 0 and below half the rate.
    rate_hz : float
        Sampling rate in Hz.
    passes : int
        Number of times the filter is applied; forward and backward is 2.

    Returns
    -------
    float
        Frequency in Hz to hand to the filter design.

    Raises
    ------
    ValueError
        If the rate or the number of passes is not positive, or the cut-off is not between 0 and
        half the rate.

    Notes
    -----
    Source: Winter, Biomechanics and Motor Control of Human Movement, 4th ed., p. 69; Robertson et
    al., Research Methods in Biomechanics, 2nd ed., p. 288.
    """
    if not rate_hz > 0.0:
        raise ValueError(f"rate_hz is {rate_hz}; it must be above 0")
    if passes < 1:
        raise ValueError(f"passes is {passes}; it must be 1 or more")
    if not 0.0 < cutoff_hz < rate_hz / 2.0:
        raise ValueError(
            f"cutoff_hz is {cutoff_hz:g} at a rate of {rate_hz:g} Hz; it must be above 0 and "
            f"below half the rate ({rate_hz / 2.0:g} Hz)"
        )
    factor = (2.0 ** (1.0 / passes) - 1.0) ** 0.25
    return rate_hz / pi * atan(tan(pi * cutoff_hz / rate_hz) / factor)


def is_all_finite(x: FloatArray) -> bool:
    """Whether an array holds nothing but finite values (and none beyond 1e150)."""
    flat = x if x.ndim == 1 else x.ravel()
    # One broken value breaks the sum of squares, which is the fastest pass over the samples.
    with np.errstate(invalid="ignore", over="ignore"):
        return isfinite(np.vdot(flat, flat))


def find_finite_rows(x: FloatArray) -> BoolArray:
    """Which rows of ``x``, shape (n, ...), hold nothing but finite values, shape (n,)."""
    if is_all_finite(x):
        return np.ones(len(x), dtype=bool)
    flat = x.reshape(len(x), prod(x.shape[1:]))
    with np.errstate(invalid="ignore", over="ignore"):
        # A sum by matrix product is many times faster than `all` along a short axis.
        return np.isfinite(0.0 * flat @ np.ones(flat.shape[1]))


def find_finite_runs(x: FloatArray) -> list[slice]:
    """Slices of consecutive rows of ``x``, shape (n, ...), in which every value is finite."""
    if is_all_finite(x):
        return [slice(0, len(x))] if len(x) else []
    return list_mask_slices(find_finite_rows(x))


def low_pass(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    """Zero-phase low-pass: second-order Butterworth, forward and backward, corrected cut-off.

    Parameters
    ----------
    x : ndarray, shape (n, ...)
        Regular samples, filtered along axis 0. A row with a value that is not finite counts as
        missing: it comes back as NaN, and each run between missing rows is filtered by itself.
    cutoff_hz : float
        -3 dB frequency of the whole (two-pass) filter in Hz, below half the rate.
    rate_hz : float
        Sampling rate in Hz.

    Returns
    -------
    ndarray, shape (n, ...)

    Raises
    ------
    ValueError
        If the cut-off is not between 0 and half the rate.

    Notes
    -----
    Correction of the cut-off: see :func:`correct_cutoff_hz`. Ends are padded by odd reflection
    over two periods of the cut-off (as far as a run is long enough); a run of one sample is
    returned as it is.

    See Also
    --------
    differentiate : rate of change by central differences.

    Examples
    --------
    >>> time_s = np.arange(0.0, 2.0, 0.005)
    >>> slow, fast = np.sin(2.0 * np.pi * time_s), 0.5 * np.sin(120.0 * np.pi * time_s)
    >>> float(np.abs(low_pass(slow + fast, 10.0, 200.0) - slow)[50:-50].max()) < 0.02
    True
    """
    x = np.asarray(x, dtype=np.float64)
    design_hz = correct_cutoff_hz(cutoff_hz, rate_hz, passes=2)
    # Two periods: the odd reflection must outlast the transients of both passes.
    padding = max(9, ceil(2.0 * rate_hz / cutoff_hz))
    runs = find_finite_runs(x)
    if runs == [slice(0, len(x))]:
        return _filter_both_ways(x, design_hz, rate_hz, padding)
    out = np.full_like(x, np.nan)
    for part in runs:
        out[part] = _filter_both_ways(x[part], design_hz, rate_hz, padding)
    return out


def _filter_both_ways(x: FloatArray, design_hz: float, rate_hz: float, padding: int) -> FloatArray:
    """Forward and backward over the samples and an odd reflection of them at both ends."""
    n = len(x)
    padding = min(padding, n - 1)
    y = np.empty((prod(x.shape[1:]), n + 2 * padding))
    y[:, padding : padding + n] = x.reshape(n, -1).T
    inner = y[:, padding : padding + n]
    np.subtract(2.0 * inner[:, :1], inner[:, padding:0:-1], out=y[:, :padding])
    np.subtract(2.0 * inner[:, -1:], inner[:, -2 : -padding - 2 : -1], out=y[:, padding + n :])
    for _ in range(2):
        y = filter_butterworth(y, design_hz, rate_hz)[:, ::-1]
    return np.ascontiguousarray(y[:, padding : padding + n].T).reshape(x.shape)


def differentiate(x: FloatArray, rate_hz: float) -> FloatArray:
    """Rate of change by central differences, same length as ``x``.

    Parameters
    ----------
    x : ndarray, shape (n, ...)
        Regular samples; at least two.
    rate_hz : float
        Sampling rate in Hz.

    Returns
    -------
    ndarray, shape (n, ...)
        In units of ``x`` per second. Second order at the ends too (first order when n = 2). NaN
        next to missing samples.

    Raises
    ------
    ValueError
        If there are fewer than two samples.
    """
    x = np.asarray(x, dtype=np.float64)
    if len(x) < 2:
        raise ValueError(f"a derivative needs two samples or more; there are {len(x)}")
    slope = np.gradient(x, axis=0, edge_order=2 if len(x) > 2 else 1)
    return np.asarray(slope * rate_hz, dtype=np.float64)


def choose_block(rate_hz: float, enough_hz: float) -> int:
    """Samples whose means are still at ``enough_hz`` or more; 1 where the rate is no higher."""
    return max(1, int(rate_hz / enough_hz))


def average_blocks(x: FloatArray, block: int) -> FloatArray:
    """Means of successive blocks of samples.

    Parameters
    ----------
    x : ndarray, shape (n, ...)
    block : int
        Samples in each block, at least 1; samples left over at the end are not used.

    Returns
    -------
    ndarray, shape (n // block, ...)
        NaN where a block has a missing sample.
    """
    x = np.asarray(x, dtype=np.float64)
    if block == 1:
        return x
    count, width = len(x) // block, prod(x.shape[1:])
    blocks = x[: count * block].reshape(count, block * width)
    # By matrix product: many times as fast as a mean along a short axis.
    means = blocks @ _build_mean_matrix(block, width)
    if not is_all_finite(means):  # a missing value has spread to all signals of its block
        spoiled = ~find_finite_rows(means)
        means[spoiled] = blocks[spoiled].reshape(-1, block, width).mean(axis=1)
    return np.asarray(means.reshape(count, *x.shape[1:]))


@lru_cache(maxsize=64)
def _build_mean_matrix(block: int, width: int) -> FloatArray:
    """Matrix that takes a block of samples of several signals, in a row, to their means."""
    return np.tile(np.eye(width) / block, (block, 1))


def smooth_binomially(x: FloatArray) -> FloatArray:
    """Each value with its neighbours, weights 1/4, 1/2, 1/4: what alternates cancels.

    Parameters
    ----------
    x : ndarray, shape (n, ...)

    Returns
    -------
    ndarray, shape (n, ...)
        First and last value as they were.
    """
    smooth = np.array(x, dtype=np.float64)
    smooth[1:-1] = 0.25 * x[:-2] + 0.5 * x[1:-1] + 0.25 * x[2:]
    return smooth


def choose_odd_width(duration_s: float, rate_hz: float) -> int:
    """Odd number of samples nearest to a duration, at least 1: the width of a centred window."""
    return 2 * round((duration_s * rate_hz - 1.0) / 2.0) + 1 if duration_s * rate_hz > 1.0 else 1


def moving_mean(x: FloatArray, width: int) -> FloatArray:
    """Mean over a centred window.

    Parameters
    ----------
    x : ndarray, shape (n, ...)
    width : int
        Odd number of samples in the window (see :func:`choose_odd_width`). At the ends the window
        holds what there is of it.

    Returns
    -------
    ndarray, shape (n, ...)
        Missing (NaN) samples are left out; NaN where a window holds no sample at all.

    Raises
    ------
    ValueError
        If the width is not odd and positive.
    """
    total, count = _sum_windows(x, width)
    return _divide_sums(total, count)


def moving_std(x: FloatArray, width: int) -> FloatArray:
    """Population standard deviation over a centred window; parameters as :func:`moving_mean`."""
    return moving_mean_std(x, width)[1]


def moving_mean_std(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Mean and population standard deviation over a centred window, as :func:`moving_mean`."""
    x = np.asarray(x, dtype=np.float64)
    if is_all_finite(x):
        centre = np.ones(len(x)) @ x / max(len(x), 1)
    else:
        finite = np.isfinite(x)
        centre = np.sum(x, axis=0, where=finite) / np.maximum(finite.sum(axis=0), 1)
    # Deviations from the overall mean keep the difference of squares well conditioned.
    away = x - centre
    total, count = _sum_windows(away, width)
    squares, _ = _sum_windows(away**2, width)
    mean = _divide_sums(total, count)
    variance = _divide_sums(squares, count) - mean**2
    return mean + centre, np.sqrt(np.maximum(variance, 0.0))


def moving_max(x: FloatArray, width: int) -> FloatArray:
    """Largest value in a centred window; parameters as :func:`moving_mean`."""
    x = np.asarray(x, dtype=np.float64)
    _check_width(width)
    n, half, size = len(x), width // 2, 1
    block = np.full((n + 2 * half, *x.shape[1:]), -np.inf)  # of `size` samples from i on
    block[half : half + n] = np.where(np.isfinite(x), x, -np.inf)
    while 2 * size <= width:
        block = np.maximum(block[:-size], block[size:])
        size *= 2
    largest = np.maximum(block[:n], block[width - size : width - size + n])
    return np.where(np.isneginf(largest), np.nan, largest)


def _check_width(width: int) -> None:
    if width < 1 or width % 2 == 0:
        raise ValueError(f"the window width is {width}; it must be an odd number of samples")


def _divide_sums(total: FloatArray, count: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):  # nothing over nothing: NaN where there is no sample
        return np.asarray(total / count)


def _sum_windows(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Sum of the finite samples in each centred window, and their number."""
    _check_width(width)
    x = np.asarray(x, dtype=np.float64)
    if is_all_finite(x):  # the usual case: only the ends have fewer
        places = np.arange(len(x))
        half = width // 2
        count = np.minimum(places, half) + np.minimum(places[::-1], half) + 1.0
        return _sum_centred(x, width), count.reshape(-1, *([1] * (x.ndim - 1)))
    finite = np.isfinite(x)
    return _sum_centred(np.where(finite, x, 0.0), width), _sum_centred(finite.astype(float), width)


def _sum_centred(x: FloatArray, width: int) -> FloatArray:
    """Windowed sums by doubling: no running total, so no round-off is carried along the log."""
    n, half, size, done = len(x), width // 2, 1, 0
    block = np.zeros((n + 2 * half, *x.shape[1:]))  # block[i] = sum of `size` samples from i on
    block[half : half + n] = x
    total = np.zeros_like(x)
    while True:
        if width & size:
            total += block[done : done + n]
            done += size
        if done == width:
            return total
        block = block[:-size] + block[size:]
        size *= 2
