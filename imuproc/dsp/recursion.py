"""A second-order Butterworth low-pass run over samples, without a loop over them.

A recursive filter carries two numbers from sample to sample. Over a block of samples that is linear
in the block and in what is carried in, so blocks are filtered by matrix products, and what is
carried from block to block is added up by doubling steps (parallel prefix, Blelloch 1990), of which
few are needed as it fades. The result is that of the recursion to rounding.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sqrt, tan
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_BLOCK: Final = 32
_FADED: Final = 1e-25


@dataclass(frozen=True, eq=False)
class _Design:
    """What one block of samples does.

    Parameters
    ----------
    within : ndarray, shape (block, block)
        Samples in, samples out, nothing carried in.
    gather : ndarray, shape (block, 2)
        What the samples leave behind to be carried on.
    release : ndarray, shape (2, block)
        Samples out of what is carried in.
    fading : tuple of ndarray, shape (2, 2)
        What becomes of what is carried over 1, 2, 4, ... blocks; none once it has faded.
    """

    within: FloatArray
    gather: FloatArray
    release: FloatArray
    fading: tuple[FloatArray, ...]


@lru_cache(maxsize=64)
def _design(cutoff_hz: float, rate_hz: float) -> _Design:
    """Bilinear transform of the analogue filter (e.g. Oppenheim & Schafer 2010, ch. 7)."""
    warped = tan(pi * cutoff_hz / rate_hz)
    scale = 1.0 / (1.0 + sqrt(2.0) * warped + warped**2)
    gain = warped**2 * scale
    a1, a2 = 2.0 * (warped**2 - 1.0) * scale, (1.0 - sqrt(2.0) * warped + warped**2) * scale
    # Transposed direct form: what is carried on (two numbers), and what a sample adds to it.
    step = np.array([[-a1, 1.0], [-a2, 0.0]])
    added = gain * np.array([2.0 - a1, 1.0 - a2])
    powers = [np.eye(2)]
    for _ in range(_BLOCK):
        powers.append(step @ powers[-1])
    after = np.array([power @ added for power in powers[:_BLOCK]])
    answer = np.concatenate(([gain], after[:-1, 0]))
    lag = np.arange(_BLOCK) - np.arange(_BLOCK)[:, None]
    fading = [powers[_BLOCK].T]
    while np.abs(fading[-1]).max() > _FADED:
        fading.append(fading[-1] @ fading[-1])
    return _Design(
        within=np.where(lag >= 0, answer[np.abs(lag)], 0.0),
        gather=after[::-1].copy(),
        release=np.array([power[0] for power in powers[:_BLOCK]]).T.copy(),
        fading=tuple(fading),
    )


def butterworth(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    """Second-order Butterworth low-pass of regular samples, forward in time.

    Parameters
    ----------
    x : ndarray, shape (k, n)
        Signals, along the last axis; finite, at least one sample. Each begins as if it had been at
        its first value for ever.
    cutoff_hz : float
        -3 dB frequency in Hz, between 0 and half the rate.
    rate_hz : float

    Returns
    -------
    ndarray, shape (k, n)
    """
    design = _design(cutoff_hz, rate_hz)
    count, n = x.shape
    blocks = -(-n // _BLOCK)
    # From its first value on a steady signal stays as it is: what is carried in is then nothing.
    away = np.zeros((count, blocks * _BLOCK))
    np.subtract(x, x[:, :1], out=away[:, :n])
    flat = away.reshape(-1, _BLOCK)
    carried = (flat @ design.gather).reshape(count, blocks, 2)
    for power, fading in enumerate(design.fading):
        if 1 << power >= blocks:
            break
        carried[:, 1 << power :] += carried[:, : -(1 << power)] @ fading
    out = (flat @ design.within).reshape(count, blocks, _BLOCK)
    out[:, 1:] += carried[:, :-1] @ design.release
    smooth = out.reshape(count, -1)[:, :n]
    smooth += x[:, :1]
    return np.asarray(smooth)
