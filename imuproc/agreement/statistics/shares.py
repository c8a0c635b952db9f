"""Shares and their intervals: precision, recall, F1, coverage."""

from dataclasses import dataclass
from math import nan, sqrt

from scipy.special import ndtri


def wilson_interval(hits: int, count: int, level: float = 0.95) -> tuple[float, float]:
    """Interval for a share, by the score method (Wilson 1927, J Am Stat Assoc 22:209).

    What is counted is taken for independent: steps of one run hang together, so the real interval
    is wider where runs are few.

    Parameters
    ----------
    hits, count : int
        How many of how many.
    level : float

    Returns
    -------
    low, high : float
        NaN where there is nothing.

    Raises
    ------
    ValueError
        If ``hits`` is negative or above ``count``.
    """
    if not 0 <= hits <= count:
        raise ValueError(f"hits must be 0 to count, got {hits} of {count}")
    if count == 0:
        return nan, nan
    z = float(ndtri(0.5 + 0.5 * level))
    share, z2 = hits / count, z * z
    middle = (share + z2 / (2.0 * count)) / (1.0 + z2 / count)
    half = z * sqrt(share * (1.0 - share) / count + z2 / (4.0 * count**2)) / (1.0 + z2 / count)
    # At the ends the bound is the share itself, which rounding may miss.
    low = max(middle - half, 0.0) if hits else 0.0
    return low, min(middle + half, 1.0) if hits < count else 1.0


@dataclass(frozen=True)
class Share:
    """A share with its interval."""

    value: float
    low: float
    high: float
    hits: int
    count: int


def share_of(hits: int, count: int) -> Share:
    """A share with its Wilson interval of 95 %; NaN where there is nothing."""
    low, high = wilson_interval(hits, count)
    return Share(hits / count if count else nan, low, high, hits, count)


def f1_of(found: int, missed: int, invented: int) -> Share:
    """F1 = 2 found / (2 found + missed + invented) with an interval of 95 %.

    F1 is no share of a count, so Wilson's interval does not apply to it as it is, and the bounds of
    precision and recall do not make one. But F1 = 2 s / (1 + s) with the share s = found / (found +
    missed + invented), and grows with it: the interval is Wilson's for s, put through that formula
    (own derivation; agrees with resampling all contacts).

    Parameters
    ----------
    found, missed, invented : int
        Contacts in both, in the reference only, in the table only.
    """
    count = found + missed + invented
    inner = share_of(found, count)
    value, low, high = (2.0 * s / (1.0 + s) for s in (inner.value, inner.low, inner.high))
    return Share(value, low, high, found, count)
