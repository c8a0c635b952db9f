"""Gaps bridged by a straight line: where they are, and how wrong their integral may be."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.mask_runs import find_mask_runs

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_AROUND_S = 2.0
"""The line is tried within so much of a gap. Chosen: a few strides of running."""


@dataclass(frozen=True, eq=False)
class Bridges:
    """Gaps of one signal.

    Parameters
    ----------
    first, last : ndarray of int, shape (k,)
        Last good sample before and first good sample after each gap.
    error : ndarray, shape (k,)
        RMS error of the integral over the gap, unit of the signal times s; infinite where nothing
        can be said.
    """

    first: NDArray[np.int64]
    last: NDArray[np.int64]
    error: FloatArray


def find_bridges(x: FloatArray, measured: BoolArray, rate_hz: float) -> Bridges:
    """Gaps, and the error of integrating a straight line in their place.

    The error is found by trial: the same line at every place within 2 s of the gap where the
    samples exist.

    Parameters
    ----------
    x : ndarray, shape (n,)
        A signal without NaN, straight lines in its gaps.
    measured : ndarray of bool, shape (n,)
    rate_hz : float

    Returns
    -------
    Bridges
    """
    begins, after = find_mask_runs(~measured)
    first = np.maximum(begins - 1, 0)
    last = np.minimum(after, len(x) - 1)
    around = int(_AROUND_S * rate_hz)
    error = np.array(
        [
            _estimate_line_error(
                x[max(a - around, 0) : b + around],
                measured[max(a - around, 0) : b + around],
                rate_hz,
                int(b - a),
            )
            for a, b in zip(first, last, strict=True)
        ]
    )
    return Bridges(first, last, error)


def _estimate_line_error(x: FloatArray, measured: BoolArray, rate_hz: float, steps: int) -> float:
    if steps >= len(x):
        return float("inf")
    whole = cumulative_integral(x[:, None], rate_hz)[:, 0]
    line = 0.5 * (x[steps:] + x[:-steps]) * steps / rate_hz
    missed = np.concatenate(([0], np.cumsum(~measured)))
    known = missed[steps + 1 :] == missed[: -steps - 1]
    if not known.any():
        return float("inf")
    return float(np.sqrt(np.mean((whole[steps:] - whole[:-steps] - line)[known] ** 2)))
