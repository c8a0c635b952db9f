"""Shares and their intervals: precision, recall, F1, coverage."""

from dataclasses import dataclass
from math import nan

from scipy.stats import binomtest


@dataclass(frozen=True)
class Share:
    """A share with its interval."""

    value: float
    low: float
    high: float
    hits: int
    count: int


def estimate_share(hits: int, count: int) -> Share:
    """A share with its interval of 95 % by the score method (Wilson 1927, J Am Stat Assoc 22:209).

    What is counted is taken for independent: steps of one run hang together, so the real interval
    is wider where runs are few.

    Parameters
    ----------
    hits, count : int
        How many of how many; where there is nothing, all is NaN.

    Raises
    ------
    ValueError
        If ``hits`` is negative or above ``count``.
    """
    if count == 0:
        return Share(nan, nan, nan, hits, count)
    interval = binomtest(hits, count).proportion_ci(method="wilson")
    return Share(hits / count, float(interval.low), float(interval.high), hits, count)


def estimate_f1(found: int, missed: int, invented: int) -> Share:
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
    inner = estimate_share(found, count)
    value, low, high = (2.0 * s / (1.0 + s) for s in (inner.value, inner.low, inner.high))
    return Share(value, low, high, found, count)
