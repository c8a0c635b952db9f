"""A second-order Butterworth low-pass run over samples, without a loop over them.

A recursive filter carries two numbers from sample to sample. Over a block of samples that is linear
in the block and in what is carried in, so blocks are filtered by matrix products, and what is
carried from block to block is added up by doubling steps (parallel prefix, Blelloch 1990), of which
few are needed as it fades. The result is that of sample by sample to rounding.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sqrt, tan
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_BLOCK_SAMPLES: Final = 32
"""Filtered by one matrix product. Any number gives the same; chosen: fast."""
_FADED_RATIO: Final = 1e-18
"""What is carried on counts until it has faded to this: far below rounding (2e-16)."""


@dataclass(frozen=True, eq=False)
class _Design:
    """What one block of samples does.

    The two poles are a conjugate pair, so what is carried on is one complex number.

    Parameters
    ----------
    within : ndarray, shape (block, block)
        Samples in, samples out, nothing carried in.
    gather : ndarray, shape (block, 2)
        What the samples leave behind to be carried on: real and imaginary part.
    release : ndarray, shape (2, block)
        Samples out of what is carried in.
    fading : tuple of complex
        By what it is multiplied over 1, 2, 4, ... blocks; none once it has faded.
    """

    within: FloatArray
    gather: FloatArray
    release: FloatArray
    fading: tuple[complex, ...]


@lru_cache(maxsize=64)
def _design_blocks(cutoff_hz: float, rate_hz: float) -> _Design:
    """Bilinear transform of the analogue filter (e.g. Oppenheim & Schafer 2010, ch. 7)."""
    warped = tan(pi * cutoff_hz / rate_hz)
    scale = 1.0 / (1.0 + sqrt(2.0) * warped + warped**2)
    gain = warped**2 * scale
    a1, a2 = 2.0 * (warped**2 - 1.0) * scale, (1.0 - sqrt(2.0) * warped + warped**2) * scale
    # Transposed direct form: what is carried on (two numbers), and what a sample adds to it; a
    # step multiplies the pole's share of it, and that of the other pole is its conjugate.
    added = gain * np.array([2.0 - a1, 1.0 - a2])
    analogue = warped * complex(-sqrt(0.5), sqrt(0.5))
    pole = (1.0 + analogue) / (1.0 - analogue)
    share = (pole * added[0] + added[1]) / (2.0j * pole.imag)
    powers = pole ** np.arange(_BLOCK_SAMPLES)
    left, out = share * powers[::-1], 2.0 * powers
    answer = np.concatenate(([gain], (out * share).real[:-1]))
    lag = np.arange(_BLOCK_SAMPLES) - np.arange(_BLOCK_SAMPLES)[:, None]
    fading = [pole**_BLOCK_SAMPLES]
    while abs(fading[-1]) > _FADED_RATIO:
        fading.append(fading[-1] ** 2)
    return _Design(
        within=np.where(lag >= 0, answer[np.abs(lag)], 0.0),
        gather=np.stack((left.real, left.imag), axis=1),
        release=np.stack((out.real, -out.imag)),
        fading=tuple(fading),
    )


def filter_butterworth(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
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
    design = _design_blocks(cutoff_hz, rate_hz)
    count, n = x.shape
    blocks = -(-n // _BLOCK_SAMPLES)
    # From its first value on a steady signal stays as it is: what is carried in is then nothing.
    away = np.zeros((count, blocks * _BLOCK_SAMPLES))
    np.subtract(x, x[:, :1], out=away[:, :n])
    flat = away.reshape(-1, _BLOCK_SAMPLES)
    carried = (flat @ design.gather).view(np.complex128).reshape(count, blocks)
    for power, fading in enumerate(design.fading):
        if 1 << power >= blocks:
            break
        later = carried[:, 1 << power :]
        np.add(later, fading * carried[:, : -(1 << power)], out=later)
    out = (flat @ design.within).reshape(count, blocks, _BLOCK_SAMPLES)
    released = carried.reshape(-1, 1).view(np.float64) @ design.release
    after = out[:, 1:]
    np.add(after, released.reshape(out.shape)[:, :-1], out=after)
    smooth = out.reshape(count, -1)[:, :n]
    smooth += x[:, :1]
    return np.asarray(smooth)
